"""
The phone reads a pruned practice tree as the program does, and shows where a fault is.

That is the project's own rule (audits/practice), no outside source: random cuts on the trees of a
pack go through the phone's modules and through the scoring engine.
"""

import json
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from random import Random
from typing import Any

import pytest
from playwright.sync_api import Page

from audits.practice.cuts import Cuts
from audits.practice.pack import PackTree, practice_trees, pruning_of
from audits.practice.model import TreeKind
from audits.practice.pruning import answers_of
from audits.practice.schedule import Offer, Progress, after_exercise, after_tree, next_task
from audits.scoring import score_tree
from audits.standard import Standard, preset
from audits.vocabulary import BearingHabit, HeadingRule, Method, PracticeLevel, Stage
from tests.tree import PROJECT

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
        return { stage, fault, ids, areShown: ids.length > 0 && ids.every((one) => shown.has(one)) };
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


# --- what comes next -----------------------------------------------------------------------------

# A season of one learner on the phone: what came up each time, and how far the learner was after it.
SEASON = """
async ({ pack, right }) => {
  const { afterExercise, afterTree, freshProgress, nextTask } = await import("/practice/schedule.js");
  let progress = freshProgress(7);
  return right.map((isRight) => {
    const task = nextTask(pack, progress);
    progress = task.kind === "tree"
      ? afterTree(pack, progress, task, Object.fromEntries(task.stages.map((one) => [one, isRight])))
      : afterExercise(pack, progress, task, isRight);
    const { done, cards, runs } = progress;
    return { id: task.id, level: task.level ?? null, stages: task.stages ?? [], done, cards, runs };
  });
}
"""
KINDS = (TreeKind.USUAL, TreeKind.NOT_DUE, TreeKind.USUAL, TreeKind.LOW_BLOOM)
OFFER = Offer(
    order=tuple(Stage),
    trees=tuple((f"t{number}", kind) for number, kind in enumerate(KINDS)),
    exercises=(("e1", "one"), ("e2", "two"), ("e3", "one")),
)
OFFERED = {
    "order": list(OFFER.order),
    "trees": [{"id": name, "kind": kind} for name, kind in OFFER.trees],
    "exercises": [{"id": name, "item": item} for name, item in OFFER.exercises],
}


def seasons() -> Iterator[list[bool]]:
    """Yield learners: mostly right, mostly wrong, always right, and one who forgets at the end."""
    chance = Random(11)  # noqa: S311 - the same learners every time
    for share in (0.9, 0.8, 0.5, 0.2):
        yield [chance.random() < share for _ in range(120)]
    yield [True] * 120
    yield [True] * 60 + [False] * 60


def by_program(right: list[bool]) -> list[dict[str, Any]]:
    progress, steps = Progress(), []
    for is_right in right:
        task = next_task(OFFER, progress)
        if task.level is None:
            item = dict(OFFER.exercises)[task.id]
            progress = after_exercise(progress, item, is_right=is_right)
        else:
            kind = dict(OFFER.trees)[task.id]
            progress = after_tree(progress, kind, dict.fromkeys(task.stages, is_right))
        cards = {name: {"box": card.box, "due": card.due} for name, card in progress.cards.items()}
        steps.append(
            {"id": task.id, "level": task.level, "stages": list(task.stages)}
            | {"done": progress.done, "cards": cards, "runs": dict(progress.runs)}
        )
    return steps


def learners_apart(page: Page) -> int:
    """Count learners for whom phone and program part."""
    played = [
        page.evaluate(SEASON, {"pack": OFFERED, "right": right}) == by_program(right)
        for right in seasons()
    ]
    return played.count(False)


def test_the_phone_chooses_what_comes_next_as_the_program_does(reading_page):
    assert learners_apart(reading_page()) == 0


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
    ],
)
def test_a_schedule_that_counts_otherwise_is_found_out(reading_page, right, wrong):
    assert learners_apart(reading_page({"schedule.js": (right, wrong)})) > 0
