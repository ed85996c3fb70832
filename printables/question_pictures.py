"""Pictures of quiz questions: trees drawn to the numbers of the question, with those numbers."""

from collections.abc import Callable
from dataclasses import replace
from typing import Final

from audits.messages import Words, say
from audits.practice.pictures import TreePicture, TreeView
from audits.questions import (
    BranchPicture,
    CutShape,
    EndPicture,
    FaultPicture,
    LimbsPicture,
    Picture,
    SignPicture,
    TopPicture,
)
from audits.units import Length, LengthKind
from audits.vocabulary import Fault, Stage
from printables.drawing.closeup import SIDE_MM, fault_close_up, right_close_up
from printables.drawing.inks import Ink
from printables.drawing.lettering import text_width
from printables.drawing.panel import span, spur
from printables.drawing.primitives import (
    Anchor,
    Drawing,
    Line,
    Point,
    Polygon,
    Shape,
    Text,
    flattened,
)
from printables.drawing.wood import Stem, bar
from printables.picture_labels import DISC_MM as _DISC_MM
from printables.picture_labels import LABEL_MM as _LABEL_MM
from printables.picture_labels import label as _label
from printables.picture_labels import number_disc as _number
from printables.sign_pictures import fault_drawing, sign_drawing
from printables.tree_pictures import least_width, tree_picture_shapes

WIDTH_MM: Final = 87.0
HEIGHT_MM: Final = 46.0

# Choices that are pictures: a top is narrow, limbs reach out to both sides.
CHOICE_WIDTHS_MM: Final = {TreeView.TOP: 40.0, TreeView.LIMBS: 54.0}
_CHOICE_MM: Final = 54.0


def question_picture(picture: Picture, words: Words) -> Drawing:
    """
    Draw what a question shows.

    Parameters
    ----------
    picture : Picture
        What is drawn, in numbers.
    words : Words
        The reader's language and units.

    Returns
    -------
    Drawing
        A picture of 87 by 46 mm, signs and faults a square of 24 mm; its description gives the
        same numbers in words.
    """
    match picture:
        case SignPicture():
            return sign_drawing(picture, words)
        case FaultPicture():
            return fault_drawing(picture, words)
        case TreePicture():
            shapes = tree_picture_shapes(picture, words, (WIDTH_MM, HEIGHT_MM))
        case TopPicture():
            shapes = _top(picture, words)
        case LimbsPicture(standing_mm=()):
            shapes = _cut_close_up(picture, words)
        case LimbsPicture():
            shapes = _limbs(picture, words)
        case BranchPicture():
            shapes = _branch(picture, words)
        case EndPicture():
            shapes = _end(picture, words)
    return _picture(shapes, WIDTH_MM, words)


def choice_picture(picture: Picture, words: Words) -> Drawing:
    """
    Draw a choice that is a picture.

    Parameters
    ----------
    picture : Picture
        What is drawn, in numbers.
    words : Words
        The reader's language and units.

    Returns
    -------
    Drawing
        A drawn tree upright and without numbers, 46 mm high; anything else as in a question.
    """
    if not isinstance(picture, TreePicture):
        return question_picture(picture, words)
    width = max(CHOICE_WIDTHS_MM.get(picture.view, _CHOICE_MM), least_width(picture, words))
    shapes = tree_picture_shapes(picture, words, (width, HEIGHT_MM), numbered=False)
    return _picture(shapes, width, words)


def _picture(shapes: list[Shape], width_mm: float, words: Words) -> Drawing:
    drawn = Drawing(width_mm, HEIGHT_MM, tuple(shapes), words.say(say("Picture")))
    letters = [each.shape.text for each in flattened(drawn) if isinstance(each.shape, Text)]
    return replace(drawn, description=", ".join(letters))


def _diameter(words: Words, diameter_mm: float) -> str:
    return words.show(Length(diameter_mm, LengthKind.DIAMETER))


# Top.

_TRUNK_X_MM: Final = 31.0
_ABOVE_MM: Final = 140.0
_BELOW_MM: Final = 420.0
_LEAST_VIEW_MM: Final = 1_100.0
# No branch grows through the wire's name above and its height below it.
_WIRE_LABEL_MM: Final = 6.0


def _top(picture: TopPicture, words: Words) -> list[Shape]:
    heights = [picture.top_mm, *picture.side_branches_mm]
    if picture.wire_mm is not None:
        heights.append(picture.wire_mm)
    highest = max(heights) + _ABOVE_MM
    lowest = min(min(heights) - _BELOW_MM, highest - _LEAST_VIEW_MM)
    scale = (HEIGHT_MM - 2.0) / (highest - lowest)

    def y(height_mm: float) -> float:
        return 1.0 + (highest - height_mm) * scale

    trunk = Stem.between((_TRUNK_X_MM, HEIGHT_MM), (_TRUNK_X_MM, y(picture.top_mm)), (4.4, 1.8))
    if not (picture.cut or picture.broken):
        trunk = Stem.between(trunk.start, trunk.end, (4.4, 0.6))
    shapes: list[Shape] = []
    if picture.wire_mm is not None:
        shapes += _wire(y(picture.wire_mm), picture.wire_mm, words)
    shapes += _background_branches(trunk, y, picture)
    for number, height in enumerate(picture.side_branches_mm, start=1):
        shapes += _numbered_side_branch(y(height), number, words.show(Length(height)))
    shapes += [trunk.outline(), *_tip(trunk, picture)]
    at_tip = y(picture.top_mm)
    shapes += [
        Line((_TRUNK_X_MM + 2.4, at_tip), (_TRUNK_X_MM + 15.4, at_tip), Ink.HAIRLINE),
        _label((_TRUNK_X_MM + 16.4, at_tip), words.show(Length(picture.top_mm))),
    ]
    return shapes


def _wire(y_mm: float, height_mm: float, words: Words) -> list[Shape]:
    name = words.say(say("top wire"))
    return [
        Line((0.0, y_mm), (_TRUNK_X_MM + 8.0, y_mm), Ink.WIRE),
        Text(0.0, y_mm - 1.0, name, _LABEL_MM, Ink.SOFT),
        Text(0.0, y_mm + _LABEL_MM * 0.98, words.show(Length(height_mm)), _LABEL_MM, Ink.SOFT),
    ]


def _background_branches(
    trunk: Stem, y: Callable[[float], float], picture: TopPicture
) -> list[Shape]:
    """Draw the branches that nobody asks about: on the left, and low down on both sides."""
    wire = None if picture.wire_mm is None else y(picture.wire_mm)
    lowest_asked = y(min((picture.top_mm, *picture.side_branches_mm)))
    shapes: list[Shape] = []
    top, bottom = trunk.end[1], HEIGHT_MM
    count = max(2, int((bottom - top) // 6.5))
    for place in range(count):
        base = bottom - 2.0 - place * 6.5
        reach = 5.0 + 9.0 * (base - top) / (bottom - top)
        if base < top + 5.0:
            continue
        crosses_label = wire is not None and abs(base - 1.5 - wire) < _WIRE_LABEL_MM
        if not crosses_label:
            end = (trunk.start[0] - reach, base - 2.6)
            shapes.append(Stem.between((trunk.start[0], base), end, (1.5, 0.7), 0.1).outline())
        if base - 3.2 > lowest_asked + 3.0:
            end = (trunk.start[0] + reach, base - 5.6)
            shapes.append(
                Stem.between((trunk.start[0], base - 3.2), end, (1.5, 0.7), -0.1).outline()
            )
    return shapes


def _numbered_side_branch(y_mm: float, number: int, height: str) -> list[Shape]:
    end = (_TRUNK_X_MM + 12.0, y_mm - 1.4)
    branch = Stem.between((_TRUNK_X_MM, y_mm + 0.4), end, (1.7, 0.8), -0.08)
    disc = (_TRUNK_X_MM + 15.2, y_mm - 0.6)
    return [
        branch.outline(),
        *_number(disc, number),
        _label((disc[0] + _DISC_MM + 1.2, disc[1]), height),
    ]


def _tip(trunk: Stem, picture: TopPicture) -> list[Shape]:
    x, y = trunk.end
    half = trunk.width_end_mm / 2
    if picture.broken:
        jagged = (
            (x - half, y + 0.4),
            (x - half * 0.6, y - 1.4),
            (x - half * 0.1, y - 0.1),
            (x + half * 0.4, y - 2.0),
            (x + half, y + 0.4),
        )
        return [Polygon(jagged, Ink.GREY)]
    if not picture.cut:
        return []
    if picture.to_side_branch:
        side = Stem.between((x, y + 3.2), (x + 10.0, y - 3.4), (1.9, 0.9), -0.14)
        slant = ((x - half - 0.3, y - 0.9), (x + half + 0.3, y + 0.9))
        return [side.outline(), bar(slant, 0.9, Ink.CUT)]
    return [bar(((x - half - 0.6, y), (x + half + 0.6, y)), 0.9, Ink.CUT)]


# Limbs.

_LIMB_SCALE: Final = 0.13
_SIDES: Final = (1, -1, -1, 1)
# A limb whose height matters is drawn at one fortieth of it, but never out of sight.
_HEIGHT_SCALE: Final = 0.025


def _limbs(picture: LimbsPicture, words: Words) -> list[Shape]:
    """Draw a trunk with standing limbs on both sides and fresh cuts between them."""
    trunk_x = WIDTH_MM / 2
    soil = HEIGHT_MM - 1.0
    trunk = Stem.between((trunk_x, soil), (trunk_x, 0.6), (7.0, 5.6))
    shapes: list[Shape] = []
    places = _places(len(picture.standing_mm) + len(picture.cut_mm))
    if picture.limb_height_mm is not None:
        places = [(soil - min(34.0, picture.limb_height_mm * _HEIGHT_SCALE), 1)]
    # Cuts lie between limbs, so that no tree looks cut at one end only.
    cut_places = set(places[1::2][: len(picture.cut_mm)])
    for place in places:
        if len(cut_places) < len(picture.cut_mm):
            cut_places.add(place)
    standing = [place for place in places if place not in cut_places]
    for number, (place, size) in enumerate(
        zip(standing, picture.standing_mm, strict=True), start=1
    ):
        shapes += _limb(trunk, place, size, number, words)
    cuts: list[Shape] = []
    for place, size in zip(sorted(cut_places, reverse=True), picture.cut_mm, strict=True):
        cuts += _fresh_cut(trunk, place, size, words)
    shapes += [*cuts, trunk.outline()]
    if picture.limb_height_mm is not None:
        shapes += _height_of(standing[0], soil, picture.limb_height_mm, words)
    return shapes


def _places(count: int) -> list[tuple[float, int]]:
    """Spread limbs along the trunk from the bottom up; every second one also changes its side."""
    lowest, highest = HEIGHT_MM - 10.0, 7.5
    step = (lowest - highest) / max(count - 1, 1)
    return [(lowest - step * place, _SIDES[place % len(_SIDES)]) for place in range(count)]


def _limb(
    trunk: Stem, place: tuple[float, int], size_mm: float, number: int, words: Words
) -> list[Shape]:
    y, side = place
    width = max(0.8, size_mm * _LIMB_SCALE)
    end = (trunk.start[0] + side * 9.0, y - 2.4)
    limb = Stem.between((trunk.start[0] + side * 2.0, y), end, (width, width * 0.75), -0.05 * side)
    disc = (end[0] + side * (_DISC_MM + 0.6), end[1] + 0.2)
    label_x = disc[0] + side * (_DISC_MM + 1.0)
    anchor = Anchor.START if side > 0 else Anchor.END
    return [
        limb.outline(),
        *_number(disc, number),
        _label((label_x, disc[1]), _diameter(words, size_mm), anchor),
    ]


def _fresh_cut(trunk: Stem, place: tuple[float, int], size_mm: float, words: Words) -> list[Shape]:
    y, side = place
    width = max(1.0, size_mm * _LIMB_SCALE)
    stub = Stem.between(
        (trunk.start[0] + side * 1.5, y + 0.6),
        (trunk.start[0] + side * 5.6, y - 0.4),
        (width * 1.1, width),
    )
    # The lower lip is the longer one.
    upper, lower = stub.edge(0.72, side), stub.edge(1.0, -side)
    anchor = Anchor.START if side > 0 else Anchor.END
    left, right = (0.72, 1.0) if side > 0 else (1.0, 0.72)
    return [
        stub.piece((0.0, left), (0.0, right)),
        bar((upper, lower), 1.0, Ink.CUT),
        _label(
            (trunk.start[0] + side * 8.4, y),
            _diameter(words, size_mm),
            anchor,
        ),
    ]


def _height_of(
    place: tuple[float, int], soil_mm: float, height_mm: float, words: Words
) -> list[Shape]:
    y, side = place
    x = WIDTH_MM / 2 + side * 9.0
    text = words.show(Length(height_mm))
    anchor = Anchor.START if side > 0 else Anchor.END
    return [
        Line((0.5, soil_mm), (WIDTH_MM - 0.5, soil_mm), Ink.LINE),
        *span((x, soil_mm - 0.2), (x, y + 0.6)),
        _label((x + side * 1.6, (soil_mm + y) / 2 + 1.4), text, anchor),
    ]


_CLOSE_UP_OF_SHAPE: Final = {CutShape.FLUSH: Fault.FLUSH_CUT, CutShape.PEG: Fault.LONG_STUB}


def _cut_close_up(picture: LimbsPicture, words: Words) -> list[Shape]:
    """Show one cut from near by, with the height at which it is."""
    fault = _CLOSE_UP_OF_SHAPE.get(picture.cut_shape)
    close_up = (
        right_close_up(Stage.LIMBS, "")
        if fault is None
        else fault_close_up(fault, "", pointed_out=False)
    )
    shapes: list[Shape] = [_enlarged(close_up)]
    if picture.limb_height_mm is not None:
        label = words.say(say("%(height)s above the soil", height=Length(picture.limb_height_mm)))
        shapes.append(Text(0.0, HEIGHT_MM - 1.3, label, _LABEL_MM))
    return shapes


def _enlarged(close_up: Drawing) -> Shape:
    scale = (HEIGHT_MM - 6.0) / SIDE_MM
    return close_up.at(4.0, 0.0, scale)


# Columns.

_BRANCH: Final = Stem.between((4.0, 34.0), (58.0, 20.0), (3.4, 1.4), -0.02)
_BRANCH_TRUNK: Final = Stem.between((3.0, 45.8), (3.0, 0.2), (5.6, 5.0))
_SPUR_PLACES: Final = ((0.12, -1), (0.24, 1), (0.52, -1), (0.64, 1), (0.76, -1), (0.88, 1))
# Branches are drawn at one tenth of their size; a shoot of 600 mm is drawn no longer than fits.
_SHOOT_SCALE: Final = 0.1
_LONGEST_SHOOT_MM: Final = 26.0


def _branch(picture: BranchPicture, words: Words) -> list[Shape]:
    if picture.side_shoot_mm is not None:
        return _branch_with_shoot(picture.side_shoot_mm, words)
    if picture.fork:
        close_up = fault_close_up(Fault.FORK, "", pointed_out=False)
    elif picture.upright:
        close_up = fault_close_up(Fault.UPRIGHT, "", pointed_out=False)
    elif not picture.tip:
        close_up = fault_close_up(Fault.TIP_SHORTENED, "", pointed_out=False)
    elif not picture.spurs:
        close_up = fault_close_up(Fault.SPURS_STRIPPED, "", pointed_out=False)
    else:
        close_up = right_close_up(Stage.COLUMNS, "")
    return [_enlarged(close_up)]


def _branch_with_shoot(length_mm: float, words: Words) -> list[Shape]:
    drawn = min(_LONGEST_SHOOT_MM, length_mm * _SHOOT_SCALE)
    foot = _BRANCH.point_at(0.38)
    end = (foot[0] + 0.35 * drawn, foot[1] - 0.94 * drawn)
    shoot = Stem.between(foot, end, (1.3, 0.7), -0.04)
    text = words.show(Length(length_mm))
    return [
        *(shape for along, side in _SPUR_PLACES for shape in spur(_BRANCH, along, side, 2.0)),
        shoot.outline(),
        _BRANCH.outline(),
        _BRANCH_TRUNK.outline(),
        *_length_of(foot, end, text),
    ]


# A shoot shorter than this is named at its tip: arrows beside it would hide it.
_SHORT_MM: Final = 10.0


def _length_of(foot: Point, end: Point, text: str) -> list[Shape]:
    if foot[1] - end[1] < _SHORT_MM:
        return [
            Line((end[0] + 0.8, end[1] - 0.8), (end[0] + 5.0, end[1] - 5.0), Ink.FINE_LINE),
            _label((end[0] + 5.8, end[1] - 6.4), text),
        ]
    away = (4.6, 1.7)
    return [
        *span((foot[0] + away[0], foot[1] + away[1] - 2.4), (end[0] + away[0], end[1] + away[1])),
        _label(((foot[0] + end[0]) / 2 + away[0] + 2.0, (foot[1] + end[1]) / 2 + 0.6), text),
    ]


# Heading.

_END_TRUNK: Final = Stem.between((3.0, 45.8), (3.0, 0.2), (5.6, 5.0))
_END_BRANCH: Final = Stem((4.0, 26.0), (14.0, -6.0), (49.0, -6.0), (50.0, 44.0), 5.0, 0.8)
# Where the branch bends over: beyond here it hangs.
_BEND_AT: Final = 0.52


def _end(picture: EndPicture, words: Words) -> list[Shape]:
    places = _places_on_end(len(picture.diameters_mm), picture.bend_after)
    if picture.cut:
        (place,), (diameter,) = places, picture.diameters_mm
        return [
            _END_BRANCH.part(0.0, place).outline(),
            _END_TRUNK.outline(),
            *_cut_place(place, words, diameter),
        ]
    shapes: list[Shape] = [_END_BRANCH.outline(), _END_TRUNK.outline()]
    for number, (place, diameter) in enumerate(
        zip(places, picture.diameters_mm, strict=True), start=1
    ):
        shapes += _numbered_place(place, number, _diameter(words, diameter))
    return shapes


def _places_on_end(count: int, bend_after: int) -> list[float]:
    """Put the places up to the bend before it and the others on the hanging part."""
    before = [_BEND_AT - 0.26 * (bend_after - 1 - place) for place in range(bend_after)]
    behind = [0.80 + 0.1 * place for place in range(count - bend_after)]
    return [*before, *behind]


def _numbered_place(place: float, number: int, diameter: str) -> list[Shape]:
    line = _END_BRANCH.cut_line(place, _END_BRANCH.width_at(place) + 3.0)
    middle = _END_BRANCH.point_at(place)
    x, y = middle
    if place <= _BEND_AT:
        # Inside the arch, one below the other, the nearest to the trunk lowest.
        disc = (15.6, 15.0 + 36.0 * (_BEND_AT - place))
        return [
            Line(*line, Ink.FINE_LINE),
            Line((x, y + _END_BRANCH.width_at(place) / 2 + 0.6), disc, Ink.HAIRLINE),
            *_number(disc, number),
            _label((disc[0] + _DISC_MM + 1.0, disc[1]), diameter),
        ]
    disc = (x + 6.4, y)
    return [
        Line(*line, Ink.FINE_LINE),
        *_number(disc, number),
        _label((disc[0] + _DISC_MM + 1.0, y), diameter),
    ]


def _cut_place(place: float, words: Words, diameter_mm: float) -> list[Shape]:
    line = _END_BRANCH.cut_line(place, _END_BRANCH.width_at(place) + 2.0)
    x, y = _END_BRANCH.point_at(place)
    text = words.say(say("cut, %(diameter)s", diameter=_diameter(words, diameter_mm)))
    left = min(x + 3.4, WIDTH_MM - text_width(text, _LABEL_MM))
    return [bar(line, 1.0, Ink.CUT), _label((left, y + 3.0), text)]
