"""
The phone counts as the office does: the same audits through its modules and through the services.

That is the project's own rule (plan numbers are sent, the phone only counts), no outside source.
"""

import json
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from random import Random
from typing import Any

import pytest
from babel.numbers import get_decimal_symbol
from flask import Flask
from playwright.sync_api import Page

from audits.messages import Share, Units
from audits.sampling import (
    LengthLimits,
    MeasuredPlan,
    MeasuredStanding,
    MeasuredTree,
    StageTally,
    VariablesPlan,
    WavePlan,
    judge_measured,
)
from audits.sampling.stored import plan_payload
from audits.sampling.variables import index_of_fraction
from audits.services.passes import begin_pass, finish_row
from audits.services.preparing import prepare_lots
from audits.services.standards import write_standard
from audits.storage.database import Database
from audits.storage.queries.devices import device_by_id
from audits.storage.queries.farms import farm_by_id
from audits.storage.queries.passes import rework_orders_of_lot
from audits.storage.queries.standards import versions_of_block
from audits.units import Length, LengthKind, kept_length
from audits.vocabulary import Method, PassKind
from tests.browser.made_up_audits import NOW
from tests.browser.recorded_audits import LANGUAGES, Office, Recording, recordings
from tests.orchard import Orchard, plant_orchard
from tests.row_audit import mend
from tests.row_phone import enrolled
from tests.tree import PROJECT
from webapp.app import create_app
from webapp.config import Settings
from webapp.field.phrases import spoken
from webapp.reading import words_in

HOME = "http://localhost:4711"
FIELD = PROJECT / "static" / "js" / "field"

# Enough audits to show any of the defects below.
SEEDS = range(100)


@pytest.fixture(scope="module")
def app(tmp_path_factory) -> Iterator[Flask]:
    folder = tmp_path_factory.mktemp("rules")
    app = create_app(Settings(f"sqlite:///{folder / 'farm.db'}", "signs nothing", now=lambda: NOW))
    yield app
    app.extensions["pruning_audit_database"].close()


@pytest.fixture
def counting_page(phone: Page) -> Callable[..., Page]:
    """Open the phone's modules: ``counting_page({"standing.js": (old, new)})`` plants a defect."""

    def opened(planted: dict[str, tuple[str, str]] | None = None) -> Page:
        sources = {}
        for name, (right, wrong) in (planted or {}).items():
            source = (FIELD / name).read_text("utf-8")
            assert source.count(right) == 1, f"no line of its own to plant a defect in: {right}"
            sources[name] = source.replace(right, wrong)
        phone.route(f"{HOME}/**", lambda route: _serve(route, sources))
        phone.goto(f"{HOME}/")
        return phone

    return opened


def _serve(route, sources: dict[str, str]) -> None:
    name = route.request.url.rpartition("/")[2]
    if name in {"", "favicon.ico"}:
        route.fulfill(body="<!doctype html><title>rules</title>", content_type="text/html")
        return
    folder = Path(__file__).parent if name == "same_rules.js" else FIELD
    body = sources.get(name) or (folder / name).read_text("utf-8")
    route.fulfill(body=body, content_type="text/javascript")


@pytest.fixture(scope="module")
def phrases() -> dict[str, Any]:
    """All texts of the phone, by language."""
    return {
        language: spoken(words_in(language, region="US", units=Units.METRIC))
        for language in LANGUAGES
    }


@pytest.fixture(scope="module")
def recorded(app: Flask) -> list[Recording]:
    """Audits of all kinds, recorded once."""
    by_mean = range(SEEDS.stop, SEEDS.stop + 30)
    return [*recordings(app, SEEDS), *recordings(app, by_mean, ["measured"])]


def differences(
    page: Page, phrases: Mapping[str, Any], played: Iterable[Recording], *, most: int = 20
) -> list[str]:
    """Play recordings on the phone and return where it disagrees with the office."""
    page.evaluate(
        "async (phrases) => { rules = await import('/same_rules.js'); texts = phrases; }", phrases
    )
    found: list[str] = []
    for number, recording in enumerate(played):
        listed = page.evaluate(
            "(recording) => rules.play(JSON.parse(recording), texts)", json.dumps(recording)
        )
        found += [f"audit {number}, {difference}" for difference in listed]
        if len(found) >= most:
            break
    return found


def test_phone_and_office_agree(app, phrases, recorded, counting_page, volume):
    further = range(len(SEEDS), volume(short=len(SEEDS), long=1_000))
    found = differences(counting_page(), phrases, [*recorded, *recordings(app, further)])
    assert not found, "\n".join(found)


@pytest.fixture
def office(app: Flask) -> tuple[Orchard, Office]:
    """The invented farm with a database of its own, and a supervisor's phone."""
    database = app.extensions["pruning_audit_database"]
    orchard = plant_orchard(database, NOW)
    phone = enrolled(database, orchard.supervisor, NOW)
    with database.read() as connection:
        farm = farm_by_id(connection, orchard.farm_id)
        device = device_by_id(connection, orchard.farm_id, phone.device_id)
    return orchard, Office(app, database, farm, orchard.supervisor, device)


# What the standard says in turn; under each version as many rows are pruned.
VERSIONS = (
    {"skip_decided": True},
    {"sampling": {"method": "single"}},
    {"sampling": {"method": "double"}, "skip_decided": True},
    {"sampling": {"method": "table"}},
    {"sampling": {"method": "waves"}, "top": {"measured": True, "by_mean": True}},
)


def prune(database: Database, orchard: Orchard, rows_each: int) -> Iterator[int]:
    """Prune rows under each version of the standard, one after another; return the lots."""
    with database.read() as connection:
        [latest, *_] = versions_of_block(connection, orchard.farm_id, orchard.block_id)
    payload = dict(latest.payload)
    for number, changes in enumerate(VERSIONS):
        for name, change in changes.items():
            payload[name] = payload[name] | change if isinstance(change, dict) else change
        day = date(2026, 1, 5 + number)
        write_standard(
            database,
            orchard.supervisor,
            orchard.block_id,
            payload=payload,
            in_force_from=day,
            now=NOW,
        )
        began = datetime.combine(day, time(13), UTC)
        rows = orchard.row_ids[:rows_each]
        pass_id = begin_pass(
            database,
            orchard.supervisor,
            block_id=orchard.block_id,
            crew_id=orchard.crew_id,
            kind=PassKind.DORMANT,
            method=Method.LADDER,
            row_ids=rows,
            started_at=began,
        )
        for hours, row_id in enumerate(rows, start=1):
            ended = began + timedelta(hours=hours)
            yield finish_row(database, orchard.supervisor, pass_id, row_id, ended)


def test_phone_agrees_with_the_services(office, phrases, counting_page, volume):
    orchard, desk = office
    chance = Random(5)  # noqa: S311 - the same audits every time
    rows_each = volume(short=2, long=4)
    lots = list(prune(desk.database, orchard, rows_each))
    first = audited(desk, lots, chance)
    again = audited(desk, mended(desk.database, orchard, lots), chance)
    assert len(first) == rows_each * len(VERSIONS)
    assert again
    found = differences(counting_page(), phrases, [*first, *again])
    assert not found, "\n".join(found)


def audited(desk: Office, lots: Iterable[int], chance: Random) -> list[Recording]:
    """Audit lots from a phone, every other one in Spanish."""
    prepared = prepare_lots(
        desk.database, desk.supervisor, list(lots), new_seed=lambda: chance.randrange(99), now=NOW
    )
    assert not prepared.problems
    return [
        desk.record(lot, chance, LANGUAGES[number % 2])
        for number, lot in enumerate(prepared.prepared)
    ]


def mended(database: Database, orchard: Orchard, lots: Iterable[int]) -> Iterator[int]:
    """Mend what was not accepted, and return those lots."""
    for lot_id in lots:
        with database.read() as connection:
            orders = rework_orders_of_lot(connection, orchard.farm_id, lot_id)
        if orders:
            mend(database, orchard, orders[-1].id)
            yield lot_id


def test_recorded_audits_are_of_every_kind(recorded):
    seen = Counter(name for recording in recorded for name in _situations(recording))
    assert not {name: seen[name] for name in SITUATIONS if seen[name] < 2}


SITUATIONS = (
    *("sealed", "given up", "re-audit", "accepted", "not_accepted", "few trees due"),
    *("1 wave", "2 waves", "3 waves", "a gap between the numbers", "stages of different sizes"),
    *("accepted by the mean", "not accepted by the mean", "measured, but counted"),
    *("a tree of the reserve in wave 1", "a tree of the reserve in wave 2"),
    *("a stage skipped", "a stage open again", "a tree to come back to"),
    *("missed tree", "missed side", "a measure", "a printed gauge"),
    *("an answer refused", "an item refused"),
)


def _situations(recording: Recording) -> set[str]:
    """Name what a recorded audit has in it."""
    pkg, steps = recording["pkg"], recording["steps"]
    numbers = [step["expected"]["numbers"] for step in steps]
    last = numbers[-1]
    found = _of_package(pkg) | {stage["outcome"] for stage in last["stages"]}
    found |= {name.replace("_", " ") for name in ("sealed", "given_up") if last[name]}
    reserve = {tree["id"] for tree in pkg["trees"] if tree["order"] is None}
    for step, now, before in zip(steps[1:], numbers[1:], numbers, strict=False):
        found |= {
            f"a tree of the reserve in wave {wave}" for tree, wave in now["walk"] if tree in reserve
        }
        for stage, earlier in zip(now["stages"], before["stages"], strict=True):
            if stage["outcome"] == "open" != earlier["outcome"]:
                found.add("a stage open again")
            if stage["outcome"] != "open" and stage["due"] < 10:
                found.add("few trees due")
        if now["next"] in now["answered"]:
            found.add("a tree to come back to")
        found |= _of_step(step, has_changed=now != before)
    by_mean = {stage["stage"] for stage in pkg["stages"] if stage["by_mean"]}
    for stage in last["stages"]:
        if stage["stage"] in by_mean and stage["outcome"] != "open":
            said = stage["outcome"].replace("_", " ")
            counted = stage["most_not_lost"] is not None
            found.add("measured, but counted" if counted else f"{said} by the mean")
    return found


def _of_package(pkg: Mapping[str, Any]) -> set[str]:
    plans = [stage["plan"] for stage in pkg["stages"]]
    found = {f"{len(plan['sizes'])} waves".replace("1 waves", "1 wave") for plan in plans}
    if any(plan["rejection_numbers"][-1] > plan["acceptance_numbers"][-1] + 1 for plan in plans):
        found.add("a gap between the numbers")
    if len({plan["sizes"][-1] for plan in plans}) > 1:
        found.add("stages of different sizes")
    return found | ({"re-audit"} if pkg["purpose"] == "re_audit" else set())


def _of_step(step: Mapping[str, Any], *, has_changed: bool) -> set[str]:
    item, entry = step["item"], step["expected"]["entry"]
    found = {"an item refused"} if item and not has_changed else set()
    if entry and entry["problems"]:
        found.add("an answer refused")
    if item and item["kind"] == "tree":
        answers = item["body"]["answers"]
        found |= {f"missed {answers['missed']}"} if answers["missed"] else set()
        found |= {"a measure" for a in answers["stages"].values() if a["kind"] != "class"}
        found |= {"a printed gauge"} if "gauge" in answers else set()
        if entry and set(entry["skippable"]) - set(answers["stages"]):
            found.add("a stage skipped")
    return found


# What must show: file, line, and what stands there instead.
PLANTED = {
    "one fault fewer is accepted": (
        "standing.js",
        "nonconforming <= wave.accepted",
        "nonconforming < wave.accepted",
    ),
    "one fault more is let through": (
        "standing.js",
        "nonconforming >= wave.rejected",
        "nonconforming > wave.rejected",
    ),
    "a gap between the last numbers is not accepted": (
        "standing.js",
        "number === last ? rejected - 1 : plan",
        "false ? 0 : plan",
    ),
    "a wave without a rejection number turns down": ("standing.js", "?? size + 1", "?? 1"),
    "only the best case is looked at": (
        "standing.js",
        "ending(waves, tallies, true)",
        "ending(waves, tallies, false)",
    ),
    "the trees left are one too many": (
        "standing.js",
        "{ fewest: fewest || 1, most: step.size - seen.scored }",
        "{ fewest: fewest || 1, most: step.size - seen.scored + 1 }",
    ),
    "the fewest trees left are wrong": (
        "standing.js",
        "fewest = step.size - seen.scored",
        "fewest = step.size",
    ),
    "most is the rejection number": (
        "standing.js",
        "total(tallies)).rejected - 1",
        "total(tallies)).rejected",
    ),
    "a tree with nothing due is not scored": (
        "audit.js",
        "scores.length - count(NOT_SCORED)",
        "scores.length - count(NOT_SCORED) - count(NOT_DUE)",
    ),
    "a tree with nothing due is due": (
        "audit.js",
        "due: tally.scored - tally.notDue",
        "due: tally.scored",
    ),
    "trees are counted in the wave after theirs": ("audit.js", "walked <= size", "walked < size"),
    "every tree is of the last wave": (
        "audit.js",
        "pkg.wave_sizes[tree.wave - 1]",
        "pkg.wave_sizes.at(-1)",
    ),
    "what came after the decision counts too": (
        "audit.js",
        "waves.slice(0, decidedIn ?? waves.length)",
        "waves",
    ),
    "a tree answered again becomes the last": (
        "audit.js",
        "    answered.set(tree, answers);",
        "    answered.delete(tree);\n    answered.set(tree, answers);",
    ),
    "an undone answer stays": (
        "audit.js",
        "  answered.delete(tree);\n  scores.delete(tree);\n",
        "",
    ),
    "trees that lack an answer are passed over": (
        "audit.js",
        "!answered.has(tree.id) || isLacking(tree)",
        "!answered.has(tree.id)",
    ),
    "decided stages may always be skipped": (
        "audit.js",
        "outcome !== OPEN && !given[stage]",
        "outcome !== OPEN",
    ),
    "an open audit is sealed": (
        "audit.js",
        '=== "seal" && isDecided(standingsOf(pkg, played))',
        '=== "seal"',
    ),
    "a reserve tree keeps its own wave": ("walk.js", "{ ...reserve, wave }", "{ ...reserve }"),
    "a reserve tree is ranked as if in wave 1": (
        "walk.js",
        "tree.ranks[tree.wave - 1]",
        "tree.ranks[0]",
    ),
    "a reserve tree comes next wherever it stands": (
        "walk.js",
        "rankOf(tree) > rankOf(taken)",
        "rankOf(tree) !== rankOf(taken)",
    ),
    "a limb on the line is large": (
        "scoring.js",
        "cut > rule.surely_small_mm",
        "cut >= rule.surely_small_mm",
    ),
    "a height on the line is high": ("scoring.js", "height > highest", "height >= highest"),
    "a missed side leaves its stage open": (
        "scoring.js",
        "missed ? stage.missed[missed] : null",
        "null",
    ),
    "a gauge is noted where no diameter was measured": (
        "audit.js",
        "gauge !== null && hasDiameters(stages)",
        "gauge !== null",
    ),
    "no gauge is noted": ("audit.js", "gauge !== null && hasDiameters(stages)", "false"),
    "one long branch fewer is looked at": (
        "scoring.js",
        "Math.ceil((lookedAt",
        "Math.floor((lookedAt",
    ),
    "the mean is not asked for both limits together": (
        "mean.js",
        "fractionBeyond(below, count) + fractionBeyond(above, count) <= most",
        "true",
    ),
    "the panel is one too far": ("places.js", "(position - 1) / trees", "position / trees"),
    "out is back": ("places.js", "balance > 0", "balance < 0"),
    "ten due trees are few": ("reasons.js", "due >= FEW_DUE_TREES", "due > FEW_DUE_TREES"),
    "the last of equal faults leads": ("reasons.js", "seen.find(", "seen.findLast("),
}


@pytest.mark.parametrize("defect", PLANTED)
def test_planted_defect_shows(defect, phrases, recorded, counting_page):
    name, right, wrong = PLANTED[defect]
    assert differences(counting_page({name: (right, wrong)}), phrases, recorded, most=1)


@pytest.fixture
def samples() -> list[tuple[MeasuredPlan, LengthLimits, list[float]]]:
    """Measured samples of many shapes and steps, some of them as good as on the limit."""
    chance = Random(7)  # noqa: S311 - the same samples every time
    return [_sample(chance) for _ in range(1_000)]


def _sample(chance: Random) -> tuple[MeasuredPlan, LengthLimits, list[float]]:
    count = chance.choice([3, 4, *[chance.randint(5, 40)] * 4])
    kind = chance.choice([LengthKind.HEIGHT, LengthKind.DIAMETER])
    middle, half, step = (
        (3_017.52, 150.0, chance.choice([10.0, 25.4, 50.0, 0.01]))
        if kind is LengthKind.HEIGHT
        else (7.5, 2.5, chance.choice([0.1, 25.4 / 16, 0.01]))
    )
    spread, away = half * chance.uniform(0.0, 0.8), half * chance.choice([0, 0, 0.5, -0.5, 1.2])
    draw = chance.choice(
        [
            lambda: chance.gauss(0, 1),
            lambda: chance.gauss(0, 1),
            lambda: chance.uniform(-1.7, 1.7),
            lambda: chance.expovariate(1) - 1,
            lambda: chance.choice([-1, 1]) + chance.gauss(0, 0.3),
        ]
    )
    values = [
        round(max(step, step * round((middle + away + spread * draw()) / step)), 2)
        for _ in range(count)
    ]
    counted = WavePlan((count, count + 10), (None, 3), (4, 4))
    plan = MeasuredPlan(VariablesPlan(count, chance.uniform(0.3, 1.6)), counted)
    return plan, LengthLimits(middle - half, middle + half, kind), values


def judged_on_phone(page: Page, samples) -> list[dict[str, Any]]:
    """Return what the phone says of measured samples."""
    sent = [
        {
            "plan": plan_payload(plan),
            "limits": {
                "kind": limits.kind,
                "lower_mm": limits.lower_mm,
                "upper_mm": limits.upper_mm,
            },
            "values": values,
        }
        for plan, limits, values in samples
    ]
    return page.evaluate(
        """async (sent) => {
          const { judgeByMean } = await import('/static/js/field/mean.js');
          const none = { scored: 0, nonconforming: 0, notDue: 0 };
          return sent.map(({ plan, limits, values }) => judgeByMean(
            plan,
            limits,
            values.map((value) => ({ value, otherFault: false })),
            [{ ...none, scored: values.length }, none],
          ));
        }""",
        sent,
    )


def judged_in_office(sample) -> MeasuredStanding:
    """Return what the office says of a measured sample."""
    plan, limits, values = sample
    trees = [MeasuredTree(value, other_fault=False) for value in values]
    tallies = [StageTally(len(values), 0), StageTally(0, 0)]
    return judge_measured(plan, limits, trees, tallies)


def other_judgements(page: Page, samples) -> list[str]:
    """Return where phone and office judge measured samples differently."""
    found = []
    for sample, phone in zip(samples, judged_on_phone(page, samples), strict=True):
        office = judged_in_office(sample)
        said = (phone["outcome"], phone["fallback"], phone["leadingFaults"])
        if said != (office.outcome, office.fallback, list(office.leading_faults)):
            found.append(f"{sample}: {said}, not {office}")
        elif office.verdict is not None and not _same_figures(phone["verdict"], office):
            found.append(f"{sample}: {phone['verdict']}, not {office.verdict}")
    return found


def _same_figures(phone: Mapping[str, Any], office: MeasuredStanding) -> bool:
    verdict = office.verdict
    # Mean and spread are exact on both sides, the tails of the curves nearly so.
    return (phone["mean"], phone["spread"]) == (verdict.mean, verdict.deviation) and [
        phone["outside"],
        phone["most"],
    ] == pytest.approx(
        [verdict.fraction_outside, office.plan.variables.largest_fraction], rel=1e-11, abs=1e-13
    )


def test_phone_judges_by_the_mean_as_the_office_does(counting_page, samples):
    page = counting_page()
    found = other_judgements(page, samples)
    assert not found, "\n".join(found[:5])
    said = Counter(str(judged_in_office(sample).fallback) for sample in samples)
    assert min(said["None"], said["shape"]) > 100


@pytest.mark.parametrize(
    ("name", "right", "wrong"),
    [
        ("mean.js", "SIGNIFICANCE = 0.05", "SIGNIFICANCE = 0.06"),
        ("mean.js", "?? 0;", "* 0 || 0;"),
        ("mean.js", "step * ((index", "0 * ((index"),
        ("mean.js", "(1 + 0.75 / count + 2.25 / count ** 2)", "1"),
        ("mean.js", "Math.min(below, above) >= plan.k &&", ""),
        ("mean.js", "lower < value && value < upper", "lower <= value && value <= upper"),
        ("numbers.js", "count * (count - 1n)", "count * count"),
        ("numbers.js", "root | 1n", "root"),
    ],
)
def test_planted_defect_of_the_mean_shows(counting_page, samples, name, right, wrong):
    if "lower < value" in right:
        plan = MeasuredPlan(VariablesPlan(3, 1.0), WavePlan((3, 9), (None, 1), (2, 2)))
        samples = [(plan, LengthLimits(5.0, 10.0, LengthKind.DIAMETER), [10.0] * 3)]
    assert other_judgements(counting_page({name: (right, wrong)}), samples)


def test_office_decides_what_lies_on_the_limit(counting_page, samples):
    on_limit = []
    for sample in samples:
        plan, limits, values = sample
        verdict = judged_in_office(sample).verdict
        if verdict and verdict.deviation and 0.001 < verdict.fraction_outside < 0.4:
            k = index_of_fraction(verdict.fraction_outside, len(values))
            on_limit.append(
                (MeasuredPlan(VariablesPlan(len(values), k), plan.counted), limits, values)
            )
    said = Counter(phone["outcome"] for phone in judged_on_phone(counting_page(), on_limit))
    # Where k itself turns the lot down, the estimate matters no longer.
    assert said["office"] > 0.9 * len(on_limit) > 100


@pytest.fixture
def figures() -> list[float]:
    """Lengths and shares, many of them halfway between two numbers."""
    chance = Random(11)  # noqa: S311 - the same figures every time
    return [
        *(chance.randint(1, 1_600_000) / 100 for _ in range(1_500)),
        *(chance.randint(1, 16_000) / 8 for _ in range(1_000)),
        *(chance.randint(1, 4_000) * 25.4 / 32 for _ in range(500)),
        *(10 ** chance.uniform(-9, 0) for _ in range(500)),
    ]


def written_on_phone(page: Page, figures: list[float], units: Units, mark: str) -> list[list[str]]:
    """Return figures in the phone's words."""
    return page.evaluate(
        """async ({ figures, pkg, phrases }) => {
          const lengths = await import('/static/js/field/lengths.js');
          const { keptLength, roundTo } = await import('/static/js/field/numbers.js');
          const { makeWords } = await import('/static/js/field/words.js');
          const words = makeWords(phrases);
          words.choose('es');
          return figures.map((figure) => [
            lengths.lengthWords(pkg, words, figure, 'height'),
            lengths.lengthWords(pkg, words, figure, 'diameter'),
            ...[0, 1, 2].map((places) => lengths.percentWords(pkg, words, figure, places)),
            keptLength(figure),
            roundTo(figure, 0),
            roundTo(figure, 1),
          ]);
        }""",
        {
            "figures": figures,
            "pkg": {"units": units, "decimal_mark": {"es": mark}},
            "phrases": {"es": spoken(words_in("es", region="US", units=units)), "en": {}},
        },
    )


def wrong_figures(page: Page, figures: list[float], units: Units, region: str) -> list[Any]:
    """Return the figures that phone and office write or round differently."""
    reader = words_in("es", region=region, units=units)
    mark = get_decimal_symbol(reader.locale)
    office = [
        [
            reader.show(Length(figure)),
            reader.show(Length(figure, LengthKind.DIAMETER)),
            *(reader.show(Share(figure, places)) for places in range(3)),
            kept_length(figure),
            round(figure, 0),
            round(figure, 1),
        ]
        for figure in figures
    ]
    phone = written_on_phone(page, figures, units, mark)
    return [
        (figure, one, other)
        for figure, one, other in zip(figures, office, phone, strict=True)
        # A share is never above 1, so that no thousands mark is written.
        if [one[:2], one[5:]] != [other[:2], other[5:]] or (figure <= 1 and one != other)
    ]


@pytest.mark.parametrize("units", Units)
@pytest.mark.parametrize("region", ["US", "ES"])
def test_figures_are_written_alike(counting_page, figures, units, region):
    assert not wrong_figures(counting_page(), figures, units, region)[:5]


@pytest.mark.parametrize(
    ("name", "right", "wrong"),
    [
        ("numbers.js", "floor % 2n === 1n", "true"),
        ("numbers.js", "floor % 2 === 0", "false"),
        ("numbers.js", "Number.isInteger(value * 8)", "false"),
        ("lengths.js", "WHOLE_FROM = 10", "WHOLE_FROM = 12"),
        ("lengths.js", "inches < READ_IN_FEET_FROM", "inches <= READ_IN_FEET_FROM"),
    ],
)
def test_planted_defect_of_figures_shows(counting_page, figures, name, right, wrong):
    page = counting_page({name: (right, wrong)})
    found = [
        wrong_figures(page, [*figures, 9.99, 10.0, 10.04, 914.4], units, "US") for units in Units
    ]
    assert any(found)
