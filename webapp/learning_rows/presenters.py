"""Learning beside the row as the pages show it."""

from dataclasses import dataclass
from typing import Final

from flask_babel import gettext, lazy_gettext
from markupsafe import Markup

from audits.learning.curves import CurveForm, LearningFit
from audits.learning.words import (
    bearing_sentences,
    curve_sentence,
    days_sentence,
    row_sentence,
    seasons_sentence,
    share_right,
)
from audits.messages import Message, Rounded, Share
from audits.services.learning_results import (
    TREES_OF_A_POINT,
    FarmLearned,
    Source,
    StageAcross,
    StageLearned,
)
from audits.vocabulary import STAGE_NAMES
from printables.drawing.chart_course import CourseLabels, CoursePoint, course_drawing
from printables.drawing.svg import to_svg
from webapp.reading import words
from webapp.season.charts import ChartView

# More points than these would touch on a phone.
_MOST_POINTS: Final = 24
_SOURCE_NAMES: Final = {
    Source.PRACTICE: lazy_gettext("Practice trees"),
    Source.EXERCISES: lazy_gettext("Trees judged"),
    Source.QUIZZES: lazy_gettext("Quiz questions"),
}


@dataclass(frozen=True)
class StageView:
    """A stage of a worker: what was learned, what the row shows, and the curve."""

    key: str
    name: str
    facts: list[tuple[str, str]]
    curve: Message
    chart: ChartView | None
    forms: list[tuple[str, ...]]


@dataclass(frozen=True)
class SourceView:
    """What one kind of learning says about the row."""

    name: str
    sentences: list[Message]
    rows: list[tuple[str, ...]]


@dataclass(frozen=True)
class DaysView:
    """How long learners of a stage took."""

    stage: str
    now: Message
    before: Message
    difference: Message


@dataclass(frozen=True)
class AcrossView:
    """Everything that the page across workers says."""

    sources: list[SourceView]
    days: list[DaysView]


def stage_views(stages: tuple[StageLearned, ...]) -> list[StageView]:
    """Return each stage of a worker, from the top of the tree down."""
    return [_stage(stage) for stage in stages]


def _stage(found: StageLearned) -> StageView:
    fit = found.curves.get(CurveForm.UNIT)
    facts: list[tuple[str, str]] = [
        (str(_SOURCE_NAMES[source]), words().say(share_right(tally.right, tally.done)))
        for source, tally in found.learned.items()
    ]
    row = row_sentence(found.row.right, found.row.done)
    facts.append((gettext("In the row"), words().say(row)))
    return StageView(
        key=found.stage,
        name=words().say(STAGE_NAMES[found.stage]),
        facts=facts,
        curve=curve_sentence(found.trees, found.faults, fit),
        chart=_chart(found, fit) if fit else None,
        forms=[_form(form, curve) for form, curve in found.curves.items()],
    )


def _form(form: CurveForm, fit: LearningFit) -> tuple[str, ...]:
    names = {
        CurveForm.UNIT: gettext("Each tree's own chance of a fault (Crawford)"),
        CurveForm.CUMULATIVE_AVERAGE: gettext("Mean of all trees so far (Wright)"),
    }
    show = words().show
    return (
        str(names[form]),
        show(Share(fit.rate)),
        gettext(
            "%(least)s to %(most)s",
            least=show(Share(fit.interval[0])),
            most=show(Share(fit.interval[1])),
        ),
        show(fit.points),
    )


def _chart(found: StageLearned, fit: LearningFit) -> ChartView:
    show = words().show
    title = gettext("Faults by experience")
    note = gettext(
        "Each point is %(trees)s audited trees, the latest to the right. The band is what the "
        "learning curve and chance explain together.",
        trees=TREES_OF_A_POINT,
    )
    drawn = [point for point in found.points if point.due == TREES_OF_A_POINT][-_MOST_POINTS:]
    if len(drawn) < len(found.points):
        note = f"{note} " + gettext("Trees that fill no ten, and the earliest ones, are not drawn.")
    points = [
        CoursePoint(show(point.last), point.nonconforming, _band(point.last, fit))
        for point in drawn
    ]
    labels = CourseLabels(
        title=title,
        description=note,
        upright=gettext("Wrong trees of ten"),
        across=gettext("Audited trees since the first one"),
        point=gettext("wrong trees of ten"),
        limits=gettext("what the learning curve and chance explain"),
        value=lambda value: show(round(value)),
    )
    drawing = course_drawing(points, [], labels, (0.0, TREES_OF_A_POINT / 2, TREES_OF_A_POINT))
    # The drawing layer escapes every text that it writes.
    return ChartView(
        drawing=Markup(to_svg(drawing, id_prefix=f"curve-{found.stage}")),  # noqa: S704
        title=title,
        note=note,
        columns=[
            (gettext("Audited trees"), "numeric"),
            (gettext("Wrong"), "numeric"),
            gettext("Curve and chance"),
        ],
        rows=[
            (
                f"{show(point.last - TREES_OF_A_POINT + 1)}-{show(point.last)}",
                show(point.nonconforming),
                gettext("%(least)s to %(most)s", least=show(round(low)), most=show(round(high))),
            )
            for point, (low, high) in ((each, _band(each.last, fit)) for each in drawn)
        ],
    )


def _band(last: int, fit: LearningFit) -> tuple[float, float]:
    """Return within which counts of wrong trees 95 in 100 tens lie, if the curve is right."""
    from scipy.special import bdtr  # noqa: PLC0415 - keeps starting the app light

    tail = 0.025
    numbers = range(last - TREES_OF_A_POINT + 1, last + 1)
    chance = min(1.0, sum(fit.value(number) for number in numbers) / TREES_OF_A_POINT)
    counts = range(TREES_OF_A_POINT + 1)
    low = next(count for count in counts if bdtr(count, TREES_OF_A_POINT, chance) >= tail)
    high = next(count for count in counts if bdtr(count, TREES_OF_A_POINT, chance) >= 1 - tail)
    return float(low), float(high)


def across_view(found: FarmLearned) -> AcrossView:
    """Return what practice and quizzes say about the row across workers."""
    return AcrossView(
        sources=[
            SourceView(
                str(_SOURCE_NAMES[source]),
                bearing_sentences(found.bearings[source]),
                [_across(source, stage) for stage in found.stages],
            )
            for source in Source
            if any(stage.people[source] for stage in found.stages)
        ],
        days=[
            DaysView(
                words().say(STAGE_NAMES[days.stage]),
                days_sentence(days.now),
                days_sentence(days.before),
                seasons_sentence(days.now, days.before, days.test),
            )
            for days in found.days
        ],
    )


def _across(source: Source, found: StageAcross) -> tuple[str, ...]:
    show = words().show
    association = found.associations.get(source)
    if association is None:
        going = gettext("too few people to say")
    else:
        lower, upper = association.interval
        going = gettext(
            "%(value)s, could be %(lower)s to %(upper)s",
            value=show(Rounded(association.coefficient, 2)),
            lower=show(Rounded(lower, 2)),
            upper=show(Rounded(upper, 2)),
        )
    return (
        words().say(STAGE_NAMES[found.stage]),
        show(found.people[source]),
        going,
    )
