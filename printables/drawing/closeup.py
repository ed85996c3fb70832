"""Close-ups of right work and of each fault, as an auditor finds them: for quizzes and coaching."""

from collections.abc import Callable
from typing import Final

from audits.vocabulary import Fault, Stage
from printables.drawing.inks import Ink
from printables.drawing.panel import arrow, spur
from printables.drawing.primitives import Circle, Drawing, Line, Point, Polygon, Shape
from printables.drawing.tree import PENCIL_MM, pencil
from printables.drawing.wood import Stem, bar

SIDE_MM: Final = 24.0

_FACE_MM: Final = 0.9


def _cut(stem: Stem, left: float, right: float) -> list[Shape]:
    """Draw what is left of a stem, its fresh face turned a little to the viewer."""
    face = bar((stem.edge(left, 1), stem.edge(right, -1)), _FACE_MM, Ink.FRESH)
    return [stem.piece((0.0, left), (0.0, right)), face]


# --- top

_LEADER: Final = Stem.between((9.0, 23.8), (8.6, 0.2), (4.6, 3.6))


def _to_side_branch() -> list[Shape]:
    side = Stem.between((9.2, 13.4), (21.0, 4.4), (2.4, 1.4), -0.14)
    return [side.outline(), *_cut(_LEADER, 0.42, 0.55)]


def _blunt() -> list[Shape]:
    side = Stem.between((9.2, 21.6), (19.6, 15.6), (1.8, 1.1), -0.1)
    tops = ((4.8, 1.6), (7.4, 0.6), (10.0, 0.4), (12.6, 1.4))
    brush = [
        Stem.between((7.4 + 0.9 * place, 9.6), top, (0.9, 0.5), 0.0).outline(Ink.SPUR)
        for place, top in enumerate(tops)
    ]
    return [
        side.outline(),
        *brush,
        *_cut(_LEADER, 0.6, 0.6),
    ]


def _leader_young() -> list[Shape]:
    leader = Stem.between((9.0, 23.8), (8.6, 2.0), (2.2, 1.0))
    sides = [
        Stem.between((8.9, 20.0), (16.4, 17.0), (1.2, 0.7), -0.12),
        Stem.between((8.9, 17.6), (2.4, 14.4), (1.2, 0.7), 0.12),
    ]
    return [
        Line((1.0, 1.2), (23.0, 1.2), Ink.DASHED_LINE),
        *(side.outline() for side in sides),
        leader.part(0.56, 1.0).outline(Ink.GONE),
        *_cut(leader, 0.5, 0.5),
    ]


# --- limbs

_TRUNK: Final = Stem.between((6.0, 23.8), (6.0, 0.2), (7.4, 6.8))
_LIMB: Final = Stem.between((7.6, 13.8), (23.4, 8.6), (5.6, 4.4), -0.04)


def _bevel() -> list[Shape]:
    return [*_cut(_LIMB, 0.22, 0.4), _TRUNK.outline()]


def _flush() -> list[Shape]:
    face = bar(((9.4, 9.4), (9.5, 16.8)), 1.5, Ink.FRESH)
    return [_TRUNK.outline(), face]


def _long_stub() -> list[Shape]:
    return [*_cut(_LIMB, 0.8, 0.86), _TRUNK.outline()]


def _low_stub() -> list[Shape]:
    limb = Stem.between((7.6, 18.6), (22.0, 15.6), (4.6, 3.6), -0.04)
    return [
        *_cut(limb, 0.22, 0.38),
        _TRUNK.outline(),
        Line((0.5, 23.4), (23.5, 23.4), Ink.LINE),
        Line((0.5, 8.0), (23.5, 8.0), Ink.DASHED_LINE),
    ]


def _torn() -> list[Shape]:
    strip = ((8.0, 15.6), (10.6, 15.4), (10.1, 18.0), (9.4, 20.6), (9.2, 22.8), (8.2, 19.4))
    return [
        *_cut(_LIMB, 0.22, 0.4),
        _TRUNK.outline(),
        Polygon(strip, Ink.FRESH),
    ]


def _trunk_with(*limbs: tuple[float, int, float, bool]) -> list[Shape]:
    """Draw a trunk whose limbs, each (height, side, thickness, cut), may be cut or stand."""
    trunk = Stem.between((12.0, 23.8), (12.0, 0.2), (5.0, 4.4))
    shapes: list[Shape] = []
    for y, side, thickness, is_cut in limbs:
        end = (12.0 + 11.6 * side, y - 3.4)
        stem = Stem.between((12.0 + 1.2 * side, y), end, (thickness, 0.6 * thickness), -0.05 * side)
        near, far = (0.22, 0.36) if side > 0 else (0.36, 0.22)
        shapes += _cut(stem, near, far) if is_cut else [stem.outline()]
    return [*shapes, trunk.outline()]


_STANDING: Final = ((5.0, -1, 1.0, False), (9.0, 1, 1.1, False), (21.8, -1, 1.1, False))


def _too_few() -> list[Shape]:
    limbs = (*_STANDING, (15.6, 1, 3.4, False), (13.4, -1, 3.0, True))
    return [*_trunk_with(*limbs)]


def _too_many() -> list[Shape]:
    limbs = (
        (5.6, -1, 1.9, True),
        (7.4, 1, 2.2, True),
        (13.0, -1, 2.6, True),
        (15.6, 1, 3.2, True),
        (21.0, -1, 2.0, True),
        (22.4, 1, 1.2, False),
    )
    return _trunk_with(*limbs)


def _wrong_limb() -> list[Shape]:
    limbs = (*_STANDING[:1], *_STANDING[2:], (15.6, 1, 3.4, False), (13.4, -1, 1.5, True))
    return [*_trunk_with(*limbs)]


# --- columns

_COLUMN: Final = Stem.between((0.4, 19.0), (23.4, 8.6), (2.6, 1.2), -0.03)
_COLUMN_SPURS: Final = ((0.14, 1), (0.28, -1), (0.44, 1), (0.58, -1), (0.72, 1), (0.86, -1))


def _spurs() -> list[Shape]:
    return [shape for at, side in _COLUMN_SPURS for shape in spur(_COLUMN, at, side, 1.5)]


def _single() -> list[Shape]:
    return [*_spurs(), _COLUMN.outline()]


def _fork() -> list[Shape]:
    fork = Stem.between(_COLUMN.point_at(0.52), (21.6, 1.0), (1.9, 1.1), -0.04)
    return [*_single(), fork.outline()]


def _side_branch() -> list[Shape]:
    side = Stem.between(_COLUMN.point_at(0.4), (19.0, 22.6), (1.6, 0.9), 0.1)
    return [*_single(), side.outline()]


def _upright() -> list[Shape]:
    upright = Stem.between(_COLUMN.point_at(0.34), (7.4, 0.4), (2.0, 1.1), 0.03)
    return [*_single(), upright.outline()]


def _tip_shortened() -> list[Shape]:
    spurs = [shape for at, side in _COLUMN_SPURS[:4] for shape in spur(_COLUMN, at, side, 1.5)]
    return [
        *spurs,
        _COLUMN.part(0.72, 1.0).outline(Ink.GONE),
        *_cut(_COLUMN, 0.66, 0.66),
    ]


def _stripped() -> list[Shape]:
    scars = [Circle(_COLUMN.edge(at, side), 0.75, Ink.FRESH) for at, side in _COLUMN_SPURS]
    return [_COLUMN.outline(), *scars]


# --- heading


def _beside_pencil(diameter_mm: float) -> list[Shape]:
    shrunk = min(1.0, 19.0 / (diameter_mm + PENCIL_MM))
    width, pencil_mm = shrunk * diameter_mm, shrunk * PENCIL_MM
    middle = 1.4 + width / 2
    branch = Stem.between((middle, 0.1), (middle, 20.0), (1.12 * width, width))
    return [*_cut(branch, 0.74, 0.74), *pencil(22.6 - pencil_mm, pencil_mm, 14.2)]


_HANGING: Final = Stem((1.4, 13.8), (7.6, -2.0), (20.8, -1.6), (20.2, 23.6), 3.4, 0.9)


def _left_long() -> list[Shape]:
    return [_HANGING.outline()]


def _forbidden() -> list[Shape]:
    end = _HANGING.point_at(1.0)
    bud = Circle((end[0], end[1] - 1.0), 0.9, Ink.SPUR)
    return [
        _HANGING.part(0.75, 0.97).outline(Ink.GONE),
        bud,
        *_cut(_HANGING, 0.68, 0.68),
    ]


_RIGHT: Final[dict[Stage, Callable[[], list[Shape]]]] = {
    Stage.TOP: _to_side_branch,
    Stage.LIMBS: _bevel,
    Stage.COLUMNS: _single,
    Stage.HEADING: lambda: _beside_pencil(7.5),
}

_FAULTY: Final[dict[Fault, Callable[[], list[Shape]]]] = {
    Fault.BLUNT: _blunt,
    Fault.LEADER_YOUNG: _leader_young,
    Fault.TOO_FEW: _too_few,
    Fault.TOO_MANY: _too_many,
    Fault.WRONG_LIMB: _wrong_limb,
    Fault.FLUSH_CUT: _flush,
    Fault.LOW_STUB: _low_stub,
    Fault.LONG_STUB: _long_stub,
    Fault.TORN_BARK: _torn,
    Fault.FORK: _fork,
    Fault.SIDE_BRANCH: _side_branch,
    Fault.UPRIGHT: _upright,
    Fault.TIP_SHORTENED: _tip_shortened,
    Fault.SPURS_STRIPPED: _stripped,
    Fault.THICK: lambda: _beside_pencil(13.0),
    Fault.THIN: lambda: _beside_pencil(4.0),
    Fault.LEFT_LONG: _left_long,
    Fault.FORBIDDEN: _forbidden,
}


# Where the arrow points, and where it comes from.
_POINTERS: Final[dict[Fault, tuple[Point, Point]]] = {
    Fault.BLUNT: ((11.8, 9.6), (19.6, 8.0)),
    Fault.LEADER_YOUNG: ((10.6, 12.6), (19.2, 10.2)),
    Fault.TOO_FEW: ((19.4, 15.2), (20.6, 22.0)),
    Fault.WRONG_LIMB: ((19.4, 15.2), (20.6, 22.0)),
    Fault.FLUSH_CUT: ((10.6, 13.0), (19.0, 13.0)),
    Fault.LOW_STUB: ((13.6, 17.0), (21.4, 13.4)),
    Fault.LONG_STUB: ((16.4, 14.6), (19.4, 21.4)),
    Fault.TORN_BARK: ((11.0, 19.0), (19.2, 19.6)),
    Fault.FORK: ((16.2, 7.0), (8.6, 3.6)),
    Fault.SIDE_BRANCH: ((14.0, 20.4), (6.4, 22.4)),
    Fault.UPRIGHT: ((9.2, 7.0), (16.4, 3.4)),
    Fault.TIP_SHORTENED: ((16.2, 14.0), (20.4, 20.6)),
    Fault.SPURS_STRIPPED: ((11.0, 12.2), (6.4, 5.4)),
    Fault.LEFT_LONG: ((18.2, 19.0), (9.4, 19.6)),
    Fault.FORBIDDEN: ((17.6, 13.0), (9.0, 15.4)),
}


def right_close_up(stage: Stage, title: str, description: str = "") -> Drawing:
    """
    Draw right work of a stage.

    Parameters
    ----------
    stage : Stage
        The stage.
    title, description : str
        For those who cannot see it, in the reader's language.

    Returns
    -------
    Drawing
        A picture of 24 by 24 mm without words.
    """
    return Drawing(SIDE_MM, SIDE_MM, tuple(_RIGHT[stage]()), title, description)


def fault_close_up(
    fault: Fault, title: str, description: str = "", *, pointed_out: bool = True
) -> Drawing:
    """
    Draw a fault as it is found on the tree.

    Parameters
    ----------
    fault : Fault
        The fault; a top too high or too low is shown by `printables.drawing.tree.top_drawing`,
        a missed tree or side by its pictogram.
    title, description : str
        For those who cannot see it, in the reader's language.
    pointed_out : bool, optional
        Whether an arrow points to the fault; a quiz leaves it out.

    Returns
    -------
    Drawing
        A picture of 24 by 24 mm without words.

    Raises
    ------
    ValueError
        If the fault has no close-up.
    """
    if fault not in _FAULTY:
        raise ValueError(f"fault is {fault}; it has no close-up")
    shapes = _FAULTY[fault]()
    if pointed_out and fault in _POINTERS:
        place, start = _POINTERS[fault]
        shapes += arrow(start, place, fault=True)
    return Drawing(SIDE_MM, SIDE_MM, tuple(shapes), title, description)
