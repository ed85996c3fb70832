"""How far two people's measures of the same trees lie apart: differences over means."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Final

from printables.drawing.chart import Series, plot
from printables.drawing.inks import Ink
from printables.drawing.plane import Axis, Marker
from printables.drawing.primitives import Drawing, Point

SIZE_MM: Final = (84.0, 66.0)

# Room beyond the outermost point or line, as a share of the axis.
_MARGIN: Final = 0.08


@dataclass(frozen=True, slots=True)
class DifferenceLabels:
    """
    The words of a plot of differences, in the reader's language.

    Parameters
    ----------
    title, description : str
        For those who cannot see it.
    upright, across : str
        What the axes measure.
    tree : str
        What a point is.
    bias : str
        What the line in the middle is, with its value.
    limits : str
        What the dashed lines are.
    length : Callable
        Writes a length in mm.
    """

    title: str
    description: str
    upright: str
    across: str
    tree: str
    bias: str
    limits: str
    length: Callable[[float], str] = field(compare=False)


def difference_drawing(
    first: Sequence[float],
    second: Sequence[float],
    lines: tuple[float, float, float],
    labels: DifferenceLabels,
    size_mm: tuple[float, float] = SIZE_MM,
) -> Drawing:
    """
    Draw the differences of two people's measures over their means.

    Parameters
    ----------
    first, second : sequence of float
        What both measured, in mm, tree by tree.
    lines : tuple of float
        Lower limit, mean and upper limit of the differences, in mm.
    labels : DifferenceLabels
        The words.
    size_mm : tuple of float, optional
        Width and height.

    Returns
    -------
    Drawing
        The plot after Bland and Altman.

    Raises
    ------
    ValueError
        If there is no tree, or the two differ in number.

    References
    ----------
    .. [1] J. M. Bland and D. G. Altman, The Lancet 327:307-310, 1986.
    """
    points = tuple(
        ((mine + yours) / 2, mine - yours) for mine, yours in zip(first, second, strict=True)
    )
    if not points:
        raise ValueError("a plot of differences needs at least one tree")
    across = _axis([x for x, _ in points], labels.across, labels.length, [])
    upright = _axis(
        [*(y for _, y in points), *lines, 0.0], labels.upright, labels.length, [0.0, *lines[::2]]
    )
    lower, bias, upper = (((across.low, line), (across.high, line)) for line in lines)
    return plot(
        across,
        upright,
        [
            _line("", ((across.low, 0.0), (across.high, 0.0)), Ink.HAIRLINE),
            _line(labels.limits, lower, Ink.DASHED_LINE),
            _line("", upper, Ink.DASHED_LINE),
            _line(labels.bias, bias, Ink.RIGHT_LINE),
            Series(labels.tree, points, Marker.DOT, None, Ink.SOLID),
        ],
        (labels.title, labels.description),
        size_mm,
    )


def _line(name: str, ends: tuple[Point, Point], ink: Ink) -> Series:
    return Series(name, ends, Marker.NONE, ink)


def _axis(
    values: Sequence[float],
    title: str,
    length: Callable[[float], str],
    marked: Sequence[float],
) -> Axis:
    low, high = min(values), max(values)
    # All trees alike still need an axis with two ends.
    room = (high - low) * _MARGIN or max(abs(high) * _MARGIN, 1.0)
    low, high = low - room, high + room
    marks = marked or (low + room, high - room)
    return Axis(low, high, tuple((value, length(value)) for value in dict.fromkeys(marks)), title)
