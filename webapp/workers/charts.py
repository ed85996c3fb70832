"""The other charts of a stage: the sum of faults, trees between faults, measured heights."""

from itertools import pairwise

from flask_babel import gettext
from markupsafe import Markup

from audits.control.blocks import LEAST_BLOCK_SIZE
from audits.control.heights import HeightChart, HeightPoint, HeightSignal
from audits.control.rare import GChart
from audits.control.signals import FaultSum
from audits.units import Length
from printables.drawing.chart_course import CourseLabels, CoursePoint, Level, course_drawing
from printables.drawing.inks import Ink
from printables.drawing.primitives import Drawing
from printables.drawing.svg import to_svg
from webapp.reading import words
from webapp.season.charts import ChartView

# More points than these would touch on a phone; a line without points may be longer.
_MOST_POINTS = 24
_MOST_OF_LINE = 240
_SUMS_IN_TABLE = 24


def sum_view(total: FaultSum, id_prefix: str) -> ChartView:
    """Draw the sum of single faults over the latest due trees."""
    show = words().show
    first = max(0, len(total.sums) - _MOST_OF_LINE)
    out = set(total.out)
    # Once at the top the line trembles there; only where it came from below does it say anything.
    begun = {
        after
        for before, after in pairwise((-LEAST_BLOCK_SIZE, *total.out))
        if after - before > LEAST_BLOCK_SIZE
    }
    numbers = range(first + 1, len(total.sums) + 1)
    signal = gettext("signal")
    title = gettext("Tree by tree")
    note = gettext(
        "Each fault lifts the line, each right tree lets it sink. It signals at the top line, so "
        "it finds faults that come a little faster for a long time."
    )
    labels = CourseLabels(
        title=title,
        description=note,
        upright=gettext("Faults added up"),
        across=gettext("Due trees in the order of scoring"),
        point=gettext("sum of faults"),
        limits="",
        value=lambda value: "" if value else show(0),
    )
    points = [
        CoursePoint(show(number), total.sums[number - 1], None, signal if number in begun else "")
        for number in numbers
    ]
    drawing = course_drawing(
        points,
        [Level(total.threshold, gettext("signals here"), Ink.DASHED_LINE)],
        labels,
        (0.0, float(total.threshold)),
        with_dots=False,
    )
    # Every tenth tree is enough to follow the line.
    told = [number for number in numbers if number % 10 == 0 or number == len(total.sums)]
    return ChartView(
        drawing=_markup(drawing, id_prefix),
        title=title,
        note=note,
        columns=[
            (gettext("After due tree"), "numeric"),
            (gettext("Sum, of %(most)s", most=show(total.threshold)), "numeric"),
            gettext("Reading"),
        ],
        rows=[
            (
                show(number),
                show(total.sums[number - 1]),
                gettext("signal") if number in out else gettext("below"),
            )
            for number in told[-_SUMS_IN_TABLE:]
        ],
    )


def gaps_view(chart: GChart, id_prefix: str) -> ChartView:
    """Draw how many good trees came between one fault and the next."""
    show = words().show
    drawn = chart.points[-_MOST_POINTS:]
    first = len(chart.points) - len(drawn) + 1
    title = gettext("Trees between faults")
    note = gettext(
        "The higher, the rarer the faults. One short gap says nothing: the chart tree by tree "
        "watches for gaps that stay short."
    )
    # Faults one after another leave no gap, and an axis still needs two ends.
    longest = max(*(point.value for point in drawn), chart.centre or 0.0, 1.0)
    labels = CourseLabels(
        title=title,
        description=note,
        upright=gettext("Right trees from one fault to the next"),
        across=gettext("Faults in the order of scoring"),
        point=gettext("right trees before the next fault"),
        limits="",
        value=lambda value: show(round(value)),
    )
    points = [CoursePoint(show(number), point.value) for number, point in enumerate(drawn, first)]
    mean = show(round(chart.centre or 0.0))
    drawing = course_drawing(
        points,
        [Level(chart.centre or 0.0, gettext("own mean: %(trees)s trees", trees=mean))],
        labels,
        (0.0, float(round(longest))),
    )
    return ChartView(
        drawing=_markup(drawing, id_prefix),
        title=title,
        note=note,
        columns=[
            (gettext("Fault"), "numeric"),
            (gettext("Right trees before the next"), "numeric"),
        ],
        rows=[(show(number), show(int(point.value))) for number, point in enumerate(drawn, first)],
    )


def heights_view(chart: HeightChart, id_prefix: str) -> ChartView:
    """Draw the means of ten measured heights against the target."""
    drawn = chart.points[-_MOST_POINTS:]
    title = gettext("Mean of ten heights")
    note = _heights_note(chart)
    labels = CourseLabels(
        title=title,
        description=note,
        upright=gettext("Above or below the target"),
        across=gettext("Measured trees in the order of scoring"),
        point=gettext("mean of ten heights"),
        limits=gettext("what chance and the standard allow"),
        value=_signed,
    )
    points = [
        CoursePoint(
            _trees(point),
            point.mean_mm,
            (point.lower_mm, point.upper_mm),
            gettext("signal") if _is_off(point) else "",
        )
        for point in drawn
    ]
    levels = [Level(0.0, gettext("target"))]
    marks = (-chart.tolerance_mm, 0.0, chart.tolerance_mm)
    return ChartView(
        drawing=_markup(course_drawing(points, levels, labels, marks), id_prefix),
        title=title,
        note=note,
        columns=[
            gettext("Measured trees"),
            (gettext("Mean"), "numeric"),
            (gettext("Allowed"), "numeric"),
            gettext("Reading"),
        ],
        rows=[
            (
                _trees(point),
                _signed(point.mean_mm),
                gettext(
                    "%(least)s to %(most)s",
                    least=_signed(point.lower_mm),
                    most=_signed(point.upper_mm),
                ),
                _height_reading(point),
            )
            for point in drawn
        ],
    )


def spreads_view(chart: HeightChart, id_prefix: str) -> ChartView:
    """Draw how much ten measured heights differ."""
    drawn = chart.points[-_MOST_POINTS:]
    show = words().show
    title = gettext("How even the heights are")
    note = gettext("The lower, the more even. It is the standard deviation of ten heights.")
    widest = max(*(point.spread_mm for point in drawn), drawn[-1].widest_mm)
    labels = CourseLabels(
        title=title,
        description=note,
        upright=gettext("Standard deviation of ten heights"),
        across=gettext("Measured trees in the order of scoring"),
        point=gettext("ten heights"),
        limits=gettext("what chance and the standard allow"),
        value=lambda value: show(Length(value)) if value else show(0),
    )
    points = [
        CoursePoint(
            _trees(point),
            point.spread_mm,
            (0.0, point.widest_mm),
            gettext("signal") if point.signal is HeightSignal.UNEVEN else "",
        )
        for point in drawn
    ]
    return ChartView(
        drawing=_markup(course_drawing(points, [], labels, (0.0, widest)), id_prefix),
        title=title,
        note=note,
        columns=[
            gettext("Measured trees"),
            (gettext("Standard deviation"), "numeric"),
            (gettext("Allowed up to"), "numeric"),
        ],
        rows=[
            (_trees(point), show(Length(point.spread_mm)), show(Length(point.widest_mm)))
            for point in drawn
        ],
    )


def _heights_note(chart: HeightChart) -> str:
    sentences = [
        gettext(
            "A mean beyond the band shows that more trees miss the height than the standard "
            "accepts, on that side."
        )
    ]
    if not chart.is_normal:
        sentences.append(
            gettext(
                "These heights do not follow the bell curve that this rests on, so their means "
                "give no signal: the trees are counted instead."
            )
        )
    return " ".join(sentences)


def _is_off(point: HeightPoint) -> bool:
    return point.signal in {HeightSignal.HIGH, HeightSignal.LOW}


def _height_reading(point: HeightPoint) -> str:
    readings = {
        None: gettext("within"),
        HeightSignal.HIGH: gettext("high: signal"),
        HeightSignal.LOW: gettext("low: signal"),
        HeightSignal.UNEVEN: gettext("uneven: signal"),
    }
    return str(readings[point.signal])


def _trees(point: HeightPoint) -> str:
    show = words().show
    return f"{show(point.first)}-{show(point.last)}"


def _signed(mm: float) -> str:
    text = words().show(Length(mm))
    return f"+{text}" if mm > 0 and any(digit in "123456789" for digit in text) else text


def _markup(drawing: Drawing, id_prefix: str) -> Markup:
    # The drawing layer escapes every text that it writes.
    return Markup(to_svg(drawing, id_prefix=id_prefix))  # noqa: S704
