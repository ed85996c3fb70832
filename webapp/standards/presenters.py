"""A standard in plain words, every language beside the other, and what its numbers decide."""

from collections.abc import Iterable
from dataclasses import dataclass

from flask_babel import gettext, ngettext
from markupsafe import Markup

from audits.lot_figures import StageFigures, figures_of_standard
from audits.lot_plans import plan_lot
from audits.lot_words import InHundred, limit_sentence, numbers_in_short, times_of_hundred
from audits.messages import Message, Share, Words, say
from audits.plain_words import (
    StageWords,
    chance_words,
    every_tree,
    sampling_words,
    sign_off_words,
    standard_words,
)
from audits.records import Block, Row
from audits.sampling.tables import ACCEPTABLE_QUALITY_LIMITS, SMALLEST_LOT
from audits.standard import Standard
from audits.units import Length, LengthKind
from audits.vocabulary import STAGE_NAMES, PlanMethod, Stage
from printables.drawing.pictograms import stage_pictogram
from printables.drawing.svg import to_svg
from webapp.plan_curves import CurveView, curve_view
from webapp.reading import LANGUAGE_NAMES, words, words_in

_PICTOGRAM_PX = 72

# Beyond 25 the tables count faults, not trees.
_LARGEST_LIMIT = 25
OFFERED_LIMITS = tuple(
    float(limit) for limit in ACCEPTABLE_QUALITY_LIMITS if float(limit) <= _LARGEST_LIMIT
)
# So many limits on either side of the chosen one are told beside it.
_LIMITS_BESIDE = 2

# Where a block has no rows yet.
_USUAL_ROW = 300


@dataclass(frozen=True)
class Wording:
    """What is asked at a stage, or on every tree, in one language."""

    language: str
    heading: str
    lead: str | None
    steps: list[str]
    leave_heading: str
    leave: list[str]


@dataclass(frozen=True)
class TableCurve:
    """What the tables promise stages with the same two fractions."""

    stages: str
    curve: CurveView
    limit: str


@dataclass(frozen=True)
class TablePreview:
    """What a standard's choices in the published tables come to in a row."""

    lead: str
    curves: list[TableCurve]
    title: str
    columns: list[str | tuple[str, str]]
    rows: list[tuple[str, ...]]


@dataclass(frozen=True)
class Part:
    """A stage, or what holds on every tree, in every language."""

    picture: Markup | None
    wordings: list[Wording]


def parts(standard: Standard, block: Block, region: str) -> list[Part]:
    """Return the standard stage by stage, the reader's language first in each."""
    speakers = _speakers(region)
    stages = [
        Part(_picture(stage.stage), [_stage_wording(stage, speaker) for speaker in speakers])
        for stage in standard_words(standard, low_bloom=block.low_bloom)
    ]
    rules = every_tree(standard)
    return [*stages, Part(None, [_rules_wording(rules, speaker) for speaker in speakers])]


def decision_lines(standard: Standard) -> list[tuple[str, str]]:
    """Return what the audit goes by: name and value of each number."""
    reader = words()
    days = standard.audit_within_days
    guard = Length(standard.diameter_guard_mm, LengthKind.DIAMETER)
    return [
        *_promises(standard),
        (
            gettext("A good lot may go back by chance"),
            gettext(
                "in %(share)s of cases, all stages together",
                share=reader.show(Share(standard.producer_risk)),
            ),
        ),
        (
            gettext("A bad lot may pass a stage by chance"),
            gettext("in %(share)s of cases", share=reader.show(Share(standard.consumer_risk))),
        ),
        (
            gettext("Audit a finished row within"),
            ngettext("%(num)s day", "%(num)s days", days),
        ),
        (gettext("A thickness is a fault only beyond its limit by"), reader.show(guard)),
        (
            gettext("Measured by the auditor"),
            ", ".join(
                reader.say(STAGE_NAMES[stage])
                for stage in standard.stages_in_use
                if standard.rule(stage).measured
            )
            or gettext("nothing: each stage is one tap"),
        ),
        *_means(standard),
        (gettext("Trees looked at"), _sampling(standard)),
        (gettext("A new hire is signed off in a stage"), _signing_off(standard)),
    ]


def _signing_off(standard: Standard) -> str:
    promises = {standard.rule(stage).promise: None for stage in standard.stages_in_use}
    sentences = [
        sign_off_words(standard.sign_off),
        *(
            sentence
            for promise in promises
            for sentence in chance_words(standard.sign_off, promise)
        ),
    ]
    return " ".join(words().say(sentence) for sentence in dict.fromkeys(sentences))


def _sampling(standard: Standard) -> str:
    return " ".join(words().say(sentence) for sentence in sampling_words(standard.sampling))


def table_preview(standard: Standard, rows: Iterable[Row]) -> TablePreview:
    """Return what the standard's limit, and others, would come to in a usual row of the block."""
    lot_size = max(SMALLEST_LOT, _usual_row(rows))
    chosen = _stages_by_table(standard, standard.sampling.acceptable_quality_limit, lot_size)
    reader = words()
    return TablePreview(
        lead=gettext(
            "For a row of %(trees)s trees, level %(level)s, under normal inspection:",
            trees=reader.show(lot_size),
            level=standard.sampling.inspection_level.value,
        ),
        curves=[
            TableCurve(
                stages=", ".join(reader.say(STAGE_NAMES[each.stage]) for each in group),
                curve=curve_view(
                    group[0],
                    id_prefix=f"tables-{number}",
                    title=gettext(
                        "AQL %(limit)s",
                        limit=reader.show(standard.sampling.acceptable_quality_limit),
                    ),
                ),
                limit=reader.say(limit_sentence(group[0])),
            )
            for number, group in enumerate(chosen, start=1)
        ],
        title=gettext("The same row by other limits"),
        columns=[
            gettext("AQL"),
            gettext("Plan"),
            (gettext("Passes at the AQL, times in 100"), "numeric"),
            (gettext("At the acceptable fraction"), "numeric"),
            (gettext("At the rejectable fraction"), "numeric"),
        ],
        rows=[
            _limit_row(_stages_by_table(standard, limit, lot_size)[0][0])
            for limit in _limits_around(standard.sampling.acceptable_quality_limit)
        ],
    )


def _stages_by_table(
    standard: Standard, limit: float, lot_size: int
) -> tuple[tuple[StageFigures, ...], ...]:
    rule = standard.sampling.model_copy(
        update={"method": PlanMethod.TABLE, "acceptable_quality_limit": limit}
    )
    by_table = standard.model_copy(update={"sampling": rule})
    plans = plan_lot(by_table, lot_size, standard.stages_in_use)
    return figures_of_standard(by_table, plans, lot_size).alike


def _limits_around(limit: float) -> tuple[float, ...]:
    place = OFFERED_LIMITS.index(limit)
    return OFFERED_LIMITS[max(0, place - _LIMITS_BESIDE) : place + _LIMITS_BESIDE + 1]


def _limit_row(figures: StageFigures) -> tuple[str, ...]:
    reader = words()
    at_limit = figures.at_limit or figures.acceptable
    return (
        reader.show(InHundred((figures.limit_percent or 0.0) / 100)),
        reader.say(numbers_in_short(figures.plan)),
        *(
            reader.say(times_of_hundred(point.chance))
            for point in (at_limit, figures.acceptable, figures.rejectable)
        ),
    )


def _usual_row(rows: Iterable[Row]) -> int:
    counts = sorted(row.tree_count for row in rows)
    return counts[len(counts) // 2] if counts else _USUAL_ROW


def _means(standard: Standard) -> list[tuple[str, str]]:
    """Return which stages go by mean and spread, if any."""
    stages = [words().say(STAGE_NAMES[stage]) for stage in standard.stages_by_mean]
    return [(gettext("Decided by mean and spread"), ", ".join(stages))] if stages else []


def _promises(standard: Standard) -> list[tuple[str, str]]:
    """Return how many wrong trees make a lot good or bad; alike stages share a line."""
    reader = words()
    stages_of: dict[tuple[float, float], list[Stage]] = {}
    for stage in standard.stages_in_use:
        promise = standard.rule(stage).promise
        fractions = (promise.acceptable_fraction, promise.rejectable_fraction)
        stages_of.setdefault(fractions, []).append(stage)
    return [
        (
            ", ".join(reader.say(STAGE_NAMES[stage]) for stage in stages),
            reader.say(
                say(
                    "good with up to %(acceptable)s wrong trees, bad with %(rejectable)s or more",
                    acceptable=Share(acceptable),
                    rejectable=Share(rejectable),
                )
            ),
        )
        for (acceptable, rejectable), stages in stages_of.items()
    ]


def _speakers(region: str) -> list[Words]:
    reader = words()
    return [
        reader,
        *(
            words_in(code, region=region, units=reader.units)
            for code, _ in LANGUAGE_NAMES
            if code != reader.language
        ),
    ]


def _stage_wording(stage: StageWords, speaker: Words) -> Wording:
    return Wording(
        language=speaker.language,
        heading=speaker.say(STAGE_NAMES[stage.stage]),
        lead=speaker.say(stage.steps[0]),
        steps=_said(stage.steps[1:], speaker),
        leave_heading=speaker.say(say("Leave alone")),
        leave=_said(stage.leave, speaker),
    )


def _rules_wording(rules: Iterable[Message], speaker: Words) -> Wording:
    return Wording(
        language=speaker.language,
        heading=speaker.say(say("On every tree")),
        lead=None,
        steps=_said(rules, speaker),
        leave_heading="",
        leave=[],
    )


def _said(messages: Iterable[Message], speaker: Words) -> list[str]:
    return [speaker.say(message) for message in messages]


def _picture(stage: Stage) -> Markup:
    drawing = stage_pictogram(stage, words().say(STAGE_NAMES[stage]))
    # The drawing layer escapes what it writes.
    return Markup(  # noqa: S704
        to_svg(drawing, id_prefix=str(stage), width_px=_PICTOGRAM_PX, decorative=True)
    )
