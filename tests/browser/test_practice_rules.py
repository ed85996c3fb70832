"""
The phone reads a pruned practice tree as the program does, and shows where a fault is.

That is the project's own rule (audits/practice), no outside source: random cuts on the trees of a
pack go through the phone's modules and through the scoring engine.
"""

import json
from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from pathlib import Path
from random import Random
from typing import Any

import pytest
from playwright.sync_api import Page

from audits.practice.cuts import Cuts
from audits.practice.model import TreeKind
from audits.practice.pack import PackTree, practice_trees, pruning_of
from audits.practice.pruning import answers_of
from audits.practice.schedule import Card, Offer, Progress, after_exercise, after_tree, next_task
from audits.scoring import score_tree
from audits.standard import Standard, preset
from audits.storage.queries.farms import block_by_id, farm_by_id
from audits.storage.queries.standards import versions_of_block
from audits.vocabulary import BearingHabit, Fault, HeadingRule, Method, PracticeLevel, Stage
from tests.browser.made_up_audits import NOW
from tests.orchard import plant_orchard
from tests.tree import PROJECT
from webapp.app import create_app
from webapp.config import Settings
from webapp.practice.pack import pack_payload

HOME = "http://localhost:4711"
MODULES = PROJECT / "static" / "js"
CUTS = 300
ROW_SPACING_MM = 3350.0

# Every case read by the phone: its measures, its results, and for each fault the places it rings.
READ = """
async ({ pack, cases }) => {
  const { answersOf, judge } = await import("/practice/answers.js");
  const { faultPlaces } = await import("/practice/faults.js");
  const { viewOf } = await import("/practice/steps.js");
  return cases.map(({ tree: id, cuts }) => {
    const tree = pack.trees.find((one) => one.id === id);
    const scores = judge(pack, tree, cuts);
    const rings = Object.entries(scores).flatMap(([stage, { faults }]) =>
      faults.map((fault) => {
        const { step, ids } = faultPlaces(pack, tree, cuts, stage, fault);
        const shown = new Set(viewOf(tree, step).places.map((place) => place.id));
        const areShown = ids.length > 0 && ids.every((one) => shown.has(one));
        return { stage, fault, ids, areShown };
      }));
    return { answers: answersOf(pack, tree, cuts), scores, rings };
  });
}
"""


@pytest.fixture
def reading_page(phone: Page) -> Callable[..., Page]:
    """Open the phone's modules: ``reading_page({"answers.js": (old, new)})`` plants a defect."""

    def opened(planted: Mapping[str, tuple[str, str]] | None = None) -> Page:
        sources = {}
        for name, (right, wrong) in (planted or {}).items():
            source = (MODULES / "practice" / name).read_text("utf-8")
            assert source.count(right) == 1, f"no line of its own to plant a defect in: {right}"
            sources[f"/practice/{name}"] = source.replace(right, wrong)
        phone.route(f"{HOME}/**", lambda route: _serve(route, sources))
        phone.goto(f"{HOME}/")
        return phone

    return opened


def _serve(route, sources: Mapping[str, str]) -> None:
    path = route.request.url.removeprefix(HOME)
    if path in {"/", "/favicon.ico"}:
        route.fulfill(body="<!doctype html><title>rules</title>", content_type="text/html")
        return
    body = sources.get(path) or Path(f"{MODULES}{path}").read_text("utf-8")
    route.fulfill(body=body, content_type="text/javascript")


# --- reading a pruned tree -----------------------------------------------------------------------

HEADINGS = {
    "heading asked for": (BearingHabit.STANDARD, HeadingRule.REQUIRED),
    "heading off": (BearingHabit.STANDARD, HeadingRule.OFF),
    "tips bear": (BearingHabit.TIP, HeadingRule.FORBIDDEN),
}


@pytest.fixture(scope="module")
def packs(tmp_path_factory) -> dict[str, tuple[Standard, dict[str, Any], list[PackTree]]]:
    """The pack of one block under three standards, as a phone gets it, and its trees."""
    folder = tmp_path_factory.mktemp("packs")
    app = create_app(Settings(f"sqlite:///{folder / 'farm.db'}", "signs nothing", now=lambda: NOW))
    database = app.extensions["pruning_audit_database"]
    orchard = plant_orchard(database, NOW)
    with database.read() as connection:
        farm = farm_by_id(connection, orchard.farm_id)
        block = block_by_id(connection, orchard.farm_id, orchard.block_id)
        [version, *_] = versions_of_block(connection, orchard.farm_id, orchard.block_id)
    found = {}
    with app.test_request_context():
        for name, (habit, rule) in HEADINGS.items():
            standard = preset(habit, ROW_SPACING_MM)
            heading = standard.heading.model_copy(update={"rule": rule})
            standard = standard.model_copy(update={"heading": heading})
            written = replace(version, payload=standard.model_dump(mode="json"))
            planted = replace(block, habit=habit)
            sent = pack_payload(farm, planted, written, Method.LADDER, NOW)
            trees = list(practice_trees(standard, habit, version.id))
            found[name] = (standard, without_drawings(as_sent(sent)), trees)
    database.close()
    return found


def without_drawings(sent: Any) -> Any:
    """Leave the drawings out, which say nothing about cuts and take most of the time."""
    if isinstance(sent, dict):
        return {key: without_drawings(part) for key, part in sent.items() if key != "svg"}
    return [without_drawings(part) for part in sent] if isinstance(sent, list) else sent


def random_cuts(tree: Mapping[str, Any], chance: Random) -> dict[str, Any]:
    """Cut a tree anywhere it may be cut, sensibly or not."""
    some, most = chance.choice((0.05, 0.15, 0.4)), chance.choice((0.2, 0.8, 1.0))
    heads = {
        limb["key"]: chance.choice(limb["heads"])["id"]
        for limb in tree["limbs"]
        if limb["heads"] and chance.random() < 2 * some
    }
    sides = [side["key"] for limb in tree["limbs"] for side in limb["sides"]]
    return {
        "top": chance.choice([None, *(place["id"] for place in tree["tops"])]),
        "limbs": [limb["key"] for limb in tree["limbs"] if chance.random() < some],
        "sides": [side for side in sides if chance.random() < most],
        "heads": heads,
    }


def cases_of(pack: Mapping[str, Any], count: int, seed: int) -> list[dict[str, Any]]:
    chance = Random(seed)  # noqa: S311 - the same cuts every time
    trees = pack["trees"]
    ideal = [{"tree": tree["id"], "cuts": tree["ideal"]["all"]} for tree in trees]
    return ideal + [
        {"tree": tree["id"], "cuts": random_cuts(tree, chance)}
        for tree in (trees[number % len(trees)] for number in range(count))
    ]


def read_by_program(
    standard: Standard, tree: PackTree, cuts: Mapping[str, Any]
) -> tuple[dict[str, Any], dict[str, Any]]:
    """Return measures and results by stage, as the phone writes them."""
    pruning = pruning_of(tree, Cuts.model_validate(cuts))
    answers = answers_of(tree.tree, pruning, standard, tree.side)
    scores = score_tree(standard, answers, method=Method.LADDER, stages=standard.stages_in_use)
    return (
        {stage: answer.model_dump(mode="json") for stage, answer in answers.stages.items()},
        {
            stage: {"result": score.result, "faults": list(score.faults)}
            for stage, score in scores.stages.items()
        },
    )


def by_the_program(found, count: int) -> list[tuple[dict[str, Any], str, str]]:
    """Return random cuts with what the program makes of them, worked out once."""
    standard, pack, trees = found
    by_name = {sent["id"]: tree for sent, tree in zip(pack["trees"], trees, strict=True)}
    if len(pack.setdefault("cases", [])) != count + len(trees):
        pack["cases"] = [
            (case, *map(as_sent, read_by_program(standard, by_name[case["tree"]], case["cuts"])))
            for case in cases_of(pack, count, 7)
        ]
    return pack["cases"]


def as_sent(value: object) -> Any:
    return json.loads(json.dumps(value))


def differences(page: Page, found, count: int) -> list[str]:
    """List where phone and program disagree over random cuts, or a fault has no place."""
    expected = by_the_program(found, count)
    pack = {key: value for key, value in found[1].items() if key not in {"cases", "exercises"}}
    read = page.evaluate(READ, {"pack": pack, "cases": [case for case, _, _ in expected]})
    apart = []
    for (case, answers, scores), on_phone in zip(expected, read, strict=True):
        if on_phone["answers"] != answers:
            apart.append(f"measures of {case}: {on_phone['answers']} instead of {answers}")
        if on_phone["scores"] != scores:
            apart.append(f"results of {case}: {on_phone['scores']} instead of {scores}")
        apart += [
            f"{case}: {ring} is nowhere" for ring in on_phone["rings"] if not ring["areShown"]
        ]
    return apart


@pytest.mark.parametrize("name", HEADINGS)
def test_the_phone_reads_cuts_as_the_program_does(reading_page, packs, volume, name):
    count = volume(short=CUTS, long=10 * CUTS)
    found = differences(reading_page(), packs[name], count)
    assert not found, "\n".join(found[:5])


def test_random_cuts_make_every_fault_there_is(packs):
    """Without that the test above would say little."""
    seen = {
        fault
        for found in packs.values()
        for _, _, scores in by_the_program(found, CUTS)
        for score in scores.values()
        for fault in score["faults"]
    }
    # Those of a saw's workmanship cannot be drawn, and spurs are not cut on the page.
    assert seen >= set(Fault) - {
        *(Fault.FLUSH_CUT, Fault.LOW_STUB, Fault.LONG_STUB, Fault.TORN_BARK),
        *(Fault.SPURS_STRIPPED, Fault.TREE_MISSED, Fault.SIDE_MISSED),
    }


@pytest.mark.parametrize(
    ("right", "wrong"),
    [
        ("limb.union_mm <= cut.at_mm", "limb.union_mm < cut.at_mm - 300"),
        ("const AT_SIDE_BRANCH_MM = 40", "const AT_SIDE_BRANCH_MM = 4"),
        ("topped && !tree.top.reaches_target", "false"),
        ("along <= Math.min(head.at, 1)", "true"),
        ("Math.floor((place + 0.5) * step)", "Math.floor(place * step)"),
        ("limb.key in cuts.heads && !limb.due", "false"),
        ("...sidesLeft(limb, cuts).map((side) => side.highest_mm),", ""),
        (".filter(({ counts }) => counts)", ".filter(({ counts }) => !counts)"),
        ("left_long: lookedAt.length - cut.length", "left_long: 0"),
        ("below.filter(isOut)", "tree.limbs.filter(isOut)"),
    ],
)
def test_a_phone_that_reads_otherwise_is_found_out(reading_page, packs, right, wrong):
    page = reading_page({"answers.js": (right, wrong)})
    assert differences(page, packs["heading asked for"], CUTS)


def test_one_right_way_is_right_for_every_practice(reading_page, packs):
    """What "show how" shows conforms or is not due, at every level and for its stages."""
    page = reading_page()
    for _, pack, _ in packs.values():
        wrong = page.evaluate(
            """async (pack) => {
              const { judge } = await import("/practice/answers.js");
              return pack.trees.flatMap((tree) =>
                [["all", pack.order.join("+"), tree.ideal.all],
                 ...["one", "two"].flatMap((level) =>
                   Object.entries(tree.ideal[level])
                     .map(([stages, cuts]) => [level, stages, cuts]))]
                .filter(([, stages, cuts]) => {
                  const scores = judge(pack, tree, cuts);
                  return stages.split("+")
                    .some((stage) => scores[stage].result === "nonconforming");
                })
                .map(([level, stages]) => `${tree.id} ${level} ${stages}`));
            }""",
            pack,
        )
        assert wrong == []


# --- what comes next -----------------------------------------------------------------------------

# A season of one learner on the phone: what came up each time, and how far the learner was then.
SEASON = """
async ({ pack, right, kept }) => {
  const { afterExercise, afterTree, freshProgress, nextTask } =
    await import("/practice/schedule.js");
  let progress = kept ?? freshProgress(7);
  return right.map((isRight) => {
    const task = nextTask(pack, progress);
    progress = task.kind === "tree"
      ? afterTree(
          pack, progress, task, Object.fromEntries(task.stages.map((one) => [one, isRight])),
        )
      : afterExercise(pack, progress, task, isRight);
    const { done, cards, runs, shown } = progress;
    const { id, level = null, stages = [] } = task;
    return { id, level, stages, done, cards, runs, shown };
  });
}
"""
KINDS = (TreeKind.USUAL, TreeKind.NOT_DUE, TreeKind.USUAL, TreeKind.LOW_BLOOM, TreeKind.USUAL)
OFFER = Offer(
    order=tuple(Stage),
    trees=tuple((f"t{number}", kind) for number, kind in enumerate(KINDS)),
    exercises=(("e0", "0"), *((f"e{number}", str(number % 9)) for number in range(1, 12))),
)
OFFERED = {
    "order": list(OFFER.order),
    "trees": [{"id": name, "kind": kind} for name, kind in OFFER.trees],
    "exercises": [{"id": name, "item": item} for name, item in OFFER.exercises],
}
# What a phone kept before it counted how often each kind and item came up.
KEPT = Progress(
    40,
    {"top/usual": Card(1, 40), "limbs/usual": Card(3, 44), "item/0": Card(2, 41)},
    {Stage.TOP: 0, Stage.LIMBS: 2},
)


def seasons() -> Iterator[list[bool]]:
    """Yield learners: mostly right, mostly wrong, always right, and one who forgets at the end."""
    chance = Random(11)  # noqa: S311 - the same learners every time
    for share in (0.9, 0.8, 0.5, 0.2):
        yield [chance.random() < share for _ in range(120)]
    yield [True] * 120
    yield [True] * 60 + [False] * 60


def by_program(right: list[bool], progress: Progress | None = None) -> list[dict[str, Any]]:
    progress, steps = progress or Progress(), []
    for is_right in right:
        task = next_task(OFFER, progress)
        if task.level is None:
            item = dict(OFFER.exercises)[task.id]
            progress = after_exercise(progress, item, is_right=is_right)
        else:
            kind = dict(OFFER.trees)[task.id]
            progress = after_tree(progress, kind, dict.fromkeys(task.stages, is_right))
        steps.append(
            {"id": task.id, "level": task.level, "stages": list(task.stages)}
            | on_a_phone(progress)
            | {"shown": dict(progress.shown)}
        )
    return steps


def on_a_phone(progress: Progress) -> dict[str, Any]:
    """Return progress as a phone kept it before it counted what came up."""
    cards = {name: {"box": card.box, "due": card.due} for name, card in progress.cards.items()}
    return {"done": progress.done, "cards": cards, "runs": dict(progress.runs)}


def learners_apart(page: Page) -> int:
    """Count learners for whom phone and program part."""
    played = [
        page.evaluate(SEASON, {"pack": OFFERED, "right": right}) == by_program(right)
        for right in seasons()
    ]
    return played.count(False)


def test_the_phone_chooses_what_comes_next_as_the_program_does(reading_page):
    assert learners_apart(reading_page()) == 0


def test_a_phone_goes_on_from_what_it_kept_before_the_counts(reading_page):
    right = [number % 4 > 0 for number in range(120)]
    told = {"pack": OFFERED, "right": right, "kept": on_a_phone(KEPT)}
    assert reading_page().evaluate(SEASON, told) == by_program(right, KEPT)


def test_learners_meet_every_level():
    """Without that the test above would say little."""
    levels = {step["level"] for right in seasons() for step in by_program(right)}
    assert levels == {None, *PracticeLevel}


@pytest.mark.parametrize(
    ("right", "wrong"),
    [
        ("2 ** (box - 1)", "2 ** box"),
        ("isRight ? Math.min", "true ? Math.min"),
        ("const RUN_FOR_TWO = 3", "const RUN_FOR_TWO = 2"),
        ("const RUN_FOR_ALL = 6", "const RUN_FOR_ALL = 7"),
        ("card.due <= progress.done ? 0 : 2", "0"),
        ("const MOST_BOX = 6", "const MOST_BOX = 5"),
        ("const NEW_EVERY = 3", "const NEW_EVERY = 4"),
        ("isRight, done, EXERCISE_EVERY", "isRight, done, 1"),
        ("timesShown(progress, [name]) % found.length", "progress.done % found.length"),
        ("timesShown(progress, [kind]) % trees.length", "progress.done % trees.length"),
        ("timesShown(progress, items)", "progress.done"),
        ("timesShown(progress, kinds)", "progress.done"),
    ],
)
def test_a_schedule_that_counts_otherwise_is_found_out(reading_page, right, wrong):
    assert learners_apart(reading_page({"schedule.js": (right, wrong)})) > 0
