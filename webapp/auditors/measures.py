"""Measured heights and diameters of several auditors, as drawings and sentences."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from flask_babel import gettext
from markupsafe import Markup

from audits.messages import Share
from audits.services.agreement import (
    LEAST_MEASURED,
    MeasuredPair,
    PairView,
    WalkFigures,
    WalkMeasures,
)
from audits.units import Length, LengthKind
from audits.vocabulary import STAGE_NAMES, Stage
from printables.drawing.agreement import DifferenceLabels, difference_drawing
from printables.drawing.svg import to_svg
from webapp.auditors.presenters import with_range
from webapp.reading import words

if TYPE_CHECKING:
    from audits.agreement.gauge import GaugeByRanges, GaugeStudy
    from audits.agreement.icc import IccForm

_MINUS = "\N{MINUS SIGN}"
_KINDS = {Stage.TOP: LengthKind.HEIGHT, Stage.HEADING: LengthKind.DIAMETER}


@dataclass(frozen=True)
class DifferenceView:
    """A plot of differences as the macro of a chart takes it, or why there is none."""

    title: str
    note: str
    drawing: Markup | None
    columns: list[str | tuple[str, str]]
    rows: list[tuple[str, str, str, str]]


@dataclass(frozen=True)
class MeasureView:
    """How all auditors of a walk measure, in sentences and figures."""

    title: str
    sentences: list[str]
    columns: list[str]
    rows: list[tuple[str, str]]


def difference_charts(view: PairView) -> list[DifferenceView]:
    """Return the differences of what two auditors measured, stage by stage."""
    return [_difference_chart(view, one) for one in view.measured]


def _difference_chart(view: PairView, one: MeasuredPair) -> DifferenceView:
    title = _what(one.stage)
    limits = one.limits
    if limits is None or limits.bias is None or limits.lower is None or limits.upper is None:
        few = gettext(
            "%(trees)s trees measured by both. From %(least)s on their differences are shown.",
            trees=len(one.first),
            least=LEAST_MEASURED,
        )
        return DifferenceView(title, str(few), None, [], [])
    length = _length_of(one.stage)
    note = _note(view, one, limits.bias, limits.interval_bias, (limits.lower, limits.upper))
    drawing = difference_drawing(
        one.first,
        one.second,
        (limits.lower, limits.bias, limits.upper),
        DifferenceLabels(
            title=title,
            description=note,
            upright=gettext(
                "%(first)s less %(second)s",
                first=view.pair.first.name,
                second=view.pair.second.name,
            ),
            across=gettext("Mean of both"),
            tree=gettext("a tree"),
            bias=gettext("mean difference %(bias)s", bias=_signed(limits.bias, length)),
            limits=gettext("where 19 in 20 differences lie"),
            length=lambda mm: _signed(mm, length) if abs(mm) < max(one.first) / 2 else length(mm),
        ),
    )
    rows = [
        (words().show(number), length(mine), length(yours), _signed(mine - yours, length))
        for number, (mine, yours) in enumerate(zip(one.first, one.second, strict=True), start=1)
    ]
    columns: list[str | tuple[str, str]] = [
        gettext("Tree"),
        (view.pair.first.name, "numeric"),
        (view.pair.second.name, "numeric"),
        (gettext("Difference"), "numeric"),
    ]
    svg = Markup(to_svg(drawing, id_prefix=f"differences-{one.stage}"))  # noqa: S704 - escaped there
    return DifferenceView(title, note, svg, columns, rows)


def _what(stage: Stage | None) -> str:
    if stage is None:
        return str(gettext("Points of whole trees"))
    name = words().say(STAGE_NAMES[stage])
    if stage is Stage.TOP:
        return str(gettext("%(stage)s: measured heights", stage=name))
    return str(gettext("%(stage)s: mean diameter of the cuts", stage=name))


def _length_of(stage: Stage) -> Callable[[float], str]:
    return lambda mm: words().show(Length(mm, _KINDS[stage]))


def _signed(mm: float, length: Callable[[float], str]) -> str:
    written = length(abs(mm))
    if written == length(0.0):
        return written
    return f"{'+' if mm > 0 else _MINUS}{written}"


def _note(
    view: PairView,
    one: MeasuredPair,
    bias: float,
    could_be: tuple[float, float] | None,
    limits: tuple[float, float],
) -> str:
    length = _length_of(one.stage)
    lower, upper = (_signed(each, length) for each in could_be or (bias, bias))
    if all(_signed(each, length) == length(0.0) for each in (bias, *limits)):
        alike: str = gettext(
            "%(trees)s trees. Both measured the same, as finely as lengths are read here.",
            trees=len(one.first),
        )
        return alike
    return str(
        gettext(
            "%(trees)s trees. On average %(first)s measures %(bias)s against %(second)s; it could "
            "be %(lower)s to %(upper)s. 19 in 20 differences lie between %(low)s and %(high)s.",
            trees=len(one.first),
            first=view.pair.first.name,
            second=view.pair.second.name,
            bias=_signed(bias, length),
            lower=lower,
            upper=upper,
            low=_signed(limits[0], length),
            high=_signed(limits[1], length),
        )
    )


def walk_measures(figures: WalkFigures) -> list[MeasureView]:
    """Return how all auditors of a walk measure."""
    return [_measure(one) for one in figures.measures]


def _measure(one: WalkMeasures) -> MeasureView:
    found = one.intraclass
    sentences = [_trees(one)]
    if found.reason is not None:
        sentences.append(words().say(found.reason))
        return MeasureView(_what(one.stage), sentences, [], [])
    if one.stage is not None:
        sentences += _gauge(one, _length_of(one.stage))
    forms: list[tuple[str, IccForm]] = [
        (gettext("ICC(1,1): others for each tree"), found.icc_1_1),
        (gettext("ICC(2,1): one auditor of many"), found.icc_2_1),
        (gettext("ICC(3,1): these auditors only"), found.icc_3_1),
        (gettext("ICC(1,k): mean, others for each tree"), found.icc_1_k),
        (gettext("ICC(2,k): mean of auditors of many"), found.icc_2_k),
        (gettext("ICC(3,k): mean of these auditors"), found.icc_3_k),
    ]
    rows = [(name, with_range(form.value, form.interval)) for name, form in forms]
    return MeasureView(
        _what(one.stage), sentences, [gettext("Form"), gettext("Correlation within trees")], rows
    )


def _trees(one: WalkMeasures) -> str:
    return str(
        gettext(
            "%(trees)s trees, each with a value by all %(people)s people.",
            trees=one.trees,
            people=one.intraclass.people,
        )
    )


def _gauge(one: WalkMeasures, length: Callable[[float], str]) -> list[str]:
    if one.gauge is not None:
        return _by_anova(one.gauge, length)
    return _by_ranges(one.ranges, length) if one.ranges is not None else []


def _by_anova(study: "GaugeStudy", length: Callable[[float], str]) -> list[str]:
    model = study.with_interaction or study.without_interaction
    if model is None or model.study_variations is None:
        return [words().say(study.reason)] if study.reason is not None else []
    parts = model.variances
    return [
        str(
            gettext(
                "Measured twice (gauge R&R by analysis of variance): one person repeats to within "
                "a standard deviation of %(same)s, different people of %(others)s; measuring makes "
                "%(share)s of the spread (%(trees)s trees, %(people)s people).",
                same=length(parts.repeatability**0.5),
                others=length(parts.reproducibility**0.5),
                share=words().show(Share(model.study_variations.gauge)),
                trees=study.trees,
                people=study.people,
            )
        )
    ]


def _by_ranges(found: "GaugeByRanges", length: Callable[[float], str]) -> list[str]:
    if found.reason is not None:
        return [words().say(found.reason)]
    if found.gauge is None or found.gauge_share is None:
        return []
    return [
        str(
            gettext(
                "Measured once (gauge R&R by ranges): measuring has a standard deviation of "
                "%(gauge)s and makes %(share)s of the spread (%(trees)s trees, %(people)s people).",
                gauge=length(found.gauge),
                share=words().show(Share(found.gauge_share)),
                trees=found.trees,
                people=found.people,
            )
        )
    ]
