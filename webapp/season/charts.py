"""A block chart as a page shows it: the drawing, a sentence, and its figures as a table."""

from collections.abc import Callable
from dataclasses import dataclass

from flask_babel import gettext, ngettext
from markupsafe import Markup

from audits.control.blocks import BlockChart, BlockPoint
from audits.control.ewma import ewma_of_fractions
from audits.control.limits import Signal
from audits.messages import Share
from printables.drawing.chart import ChartLabels, ChartPoint, block_chart_drawing
from printables.drawing.svg import to_svg
from webapp.reading import words

# More points than these would touch on a phone.
_MOST_DRAWN = 24
# Weight of the latest block in the smoothed line (EWMA); the rest is the line so far.
_WEIGHT_OF_LATEST = 0.25


@dataclass(frozen=True)
class ChartView:
    """What the macro of a chart takes."""

    drawing: Markup
    title: str
    note: str
    columns: list[str | tuple[str, str]]
    rows: list[tuple[str, ...]]


def chart_view(
    chart: BlockChart,
    *,
    id_prefix: str,
    title: str,
    upright: str,
    centre: str,
    note: str,
    share: Callable[[float], str],
    smoothed: bool = False,
) -> ChartView:
    """Draw the latest blocks of a chart, which has at least one, with their table."""
    if chart.centre is None or not chart.points:
        raise ValueError("a chart without a complete block cannot be drawn")
    show = words().show
    size = chart.points[0].due
    drawn = chart.points[-_MOST_DRAWN:]
    if len(drawn) < len(chart.points):
        earlier = gettext("The chart shows the latest %(trees)s trees.", trees=len(drawn) * size)
        note = f"{note} {earlier}"
    labels = ChartLabels(
        title=title,
        description=note,
        upright=upright,
        across=gettext("Due trees in the order of scoring"),
        block=ngettext("%(num)s due tree", "%(num)s due trees", size),
        centre=centre,
        limits=gettext("what chance explains"),
        share=share,
        smoothed=gettext("smoothed: the latest blocks count most"),
    )
    points = [
        ChartPoint(_trees(point, show), point.fraction, point.lower, point.upper, _mark(point))
        for point in drawn
    ]
    averages = _averages(chart)[-len(drawn) :] if smoothed else []
    drawing = block_chart_drawing(points, chart.centre, labels, smoothed=averages)
    return ChartView(
        # The drawing layer escapes every text that it writes.
        drawing=Markup(to_svg(drawing, id_prefix=id_prefix)),  # noqa: S704
        title=title,
        note=note,
        columns=[
            gettext("Due trees"),
            (gettext("With a fault"), "numeric"),
            (gettext("Chance explains"), "numeric"),
            gettext("Reading"),
            *([(gettext("Smoothed"), "numeric")] if smoothed else []),
        ],
        rows=[
            (*_figures(point, show), *([share(average)] if smoothed else []))
            for point, average in zip(drawn, averages or [0.0] * len(drawn), strict=True)
        ],
    )


def _averages(chart: BlockChart) -> list[float]:
    found = ewma_of_fractions(
        [point.nonconforming for point in chart.points],
        [point.due for point in chart.points],
        lambda_=_WEIGHT_OF_LATEST,
        centre=chart.centre or 0.0,
    )
    return [point.value for point in found.points]


def as_percentage(fraction: float) -> str:
    """Write a fraction as the reader writes percentages."""
    return words().show(Share(fraction))


def waiting_note(chart: BlockChart) -> str:
    """Say which trees are not in the chart yet."""
    if chart.waiting is None:
        return ""
    waiting: str = ngettext(
        "%(num)s more due tree waits for the next block.",
        "%(num)s more due trees wait for the next block.",
        chart.waiting.due,
    )
    return waiting


def _trees(point: BlockPoint, show: Callable[[object], str]) -> str:
    return f"{show(point.first)}-{show(point.last)}"


def _mark(point: BlockPoint) -> str:
    # Fewer faults than chance explains are no call to go and look, so they carry no mark.
    return gettext("signal") if point.signal is Signal.ABOVE else ""


def _figures(point: BlockPoint, show: Callable[[object], str]) -> tuple[str, str, str, str]:
    readings = {
        None: gettext("within"),
        Signal.ABOVE: gettext("above: signal"),
        Signal.BELOW: gettext("below"),
    }
    least, most = (round(limit * point.due) for limit in (point.lower, point.upper))
    return (
        _trees(point, show),
        _unbroken(gettext("%(count)s of %(due)s", count=point.nonconforming, due=point.due)),
        _unbroken(gettext("%(least)s to %(most)s", least=least, most=most)),
        readings[point.signal],
    )


def _unbroken(text: str) -> str:
    return text.replace(" ", "\u00a0")
