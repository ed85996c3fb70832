"""Drawn trees in questions: in sight, at one scale with their gauge, readable in each language."""

import random
from dataclasses import replace
from functools import cache

import pytest

from audits.messages import ENGLISH
from audits.practice.pictures import TreePicture, TreeView
from audits.question_bank import makers
from audits.questions import FaultPicture, SignPicture, solve
from audits.standard import preset, read_standard
from audits.units import Length, LengthKind
from audits.vocabulary import BearingHabit, Fault, HeadingRule, Method, Stage
from printables.drawing.inks import Ink
from printables.drawing.primitives import Circle, Drawing, Path, Polygon, Rect, flattened
from printables.picture_labels import DISC_MM, kept_apart
from printables.question_pictures import (
    HEIGHT_MM,
    WIDTH_MM,
    choice_picture,
    question_picture,
)
from printables.tree_pictures import tree_picture_shapes
from tests.paper import assert_nothing_clipped, printed_lines
from tests.reading import METRIC_ENGLISH, PSEUDO

# Inches are written as long as in Spanish.
LONG_UNITS = replace(
    ENGLISH,
    gettext=lambda text: f"{text[:-3]} pulg" if text.endswith(" in") else text,
)
READERS = {
    "en": ENGLISH,
    "en metric": METRIC_ENGLISH,
    "pseudo": PSEUDO,
    "long units": LONG_UNITS,
}


def standard(**changes):
    payload = preset(BearingHabit.STANDARD, 11 * 304.8, top_wire_mm=3048.0).model_dump()
    payload["heading"]["rule"] = HeadingRule.REQUIRED
    for name, value in changes.items():
        stage, _, field = name.partition("__")
        payload[stage][field] = value
    return read_standard(payload)


STANDARDS = (
    standard(),
    standard(limbs__least=3, limbs__most=4, top__tolerance_mm=300.0),
    standard(limbs__least=0, limbs__most=1, limbs__large_mm=30.0, heading__rule="forbidden"),
    preset(BearingHabit.SPUR, 4200.0),
)


@cache
def asked():
    """Return one question of each maker that draws a tree, for each standard."""
    questions = {}
    for number, rule in enumerate(STANDARDS):
        for maker in makers(rule, Method.LADDER):
            draw = random.Random(maker.name)  # noqa: S311 - no secret
            for _ in range(8):
                draft = maker.make(rule, draw, Method.LADDER)
                question = draft and solve(draft, rule, Method.LADDER)
                pictures = (question.picture, *question.choice_pictures) if question else ()
                if any(isinstance(picture, TreePicture) for picture in pictures):
                    questions[number, maker.name] = question
                    break
    return questions


def pictures_of(view=None) -> list[TreePicture]:
    found = [question.picture for question in asked().values()]
    return [
        picture
        for picture in found
        if isinstance(picture, TreePicture) and view in {None, picture.view}
    ]


def choices() -> list[TreePicture]:
    return [
        picture
        for question in asked().values()
        for picture in question.choice_pictures
        if isinstance(picture, TreePicture)
    ]


def test_the_reader_of_long_units_reads_them():
    assert LONG_UNITS.show(Length(30.2, LengthKind.DIAMETER)) == "1 3/16 pulg"


def test_every_view_that_the_bank_asks_about_is_looked_at():
    assert {picture.view for picture in pictures_of()} >= {
        TreeView.TOP,
        TreeView.LIMBS,
        TreeView.BRANCH,
    }
    assert len(choices()) >= 6


@pytest.mark.parametrize("words", READERS.values(), ids=READERS)
def test_figures_stay_inside_and_apart(words):
    for key, question in asked().items():
        if isinstance(question.picture, TreePicture):
            drawing = question_picture(question.picture, words)
            assert (drawing.width_mm, drawing.height_mm) == (WIDTH_MM, HEIGHT_MM), key
            assert_nothing_clipped(drawing)
    for picture in choices():
        assert_nothing_clipped(choice_picture(picture, words))


@pytest.mark.parametrize("words", READERS.values(), ids=READERS)
def test_every_place_shows_its_number_and_its_diameter(words):
    for picture in pictures_of():
        shown = {line.text for line in printed_lines(question_picture(picture, words))}
        diameters = {
            words.show(Length(place.diameter_mm, LengthKind.DIAMETER))
            for place in picture.places
            if place.diameter_mm is not None
        }
        assert diameters <= shown
        if not picture.shows_before:
            assert {str(number) for number, _ in enumerate(picture.places, 1)} <= shown


@pytest.mark.parametrize("words", READERS.values(), ids=READERS)
def test_wood_is_seen_in_every_picture_of_limbs(words):
    """Where figures took all the room, a trunk without limbs, or no trunk, was left."""
    for picture in pictures_of(TreeView.LIMBS):
        trunks, limbs = wood_of(question_picture(picture, words))
        trees = 2 if picture.shows_before else 1
        assert trunks == trees
        # Each limb is there before; afterwards stubs of those that came out.
        assert limbs >= trees * len(picture.tree.limbs)


def wood_of(drawing: Drawing) -> tuple[int, int]:
    """Count pieces of wood as high as the picture, and others at least 2 mm long."""
    trunks = limbs = 0
    for placed in flattened(drawing):
        shape = placed.shape
        if isinstance(shape, Path | Polygon) and shape.ink is Ink.WOOD:
            points = [shape.start, *(step[-1] for step in shape.steps)]
            wide, high = (
                max(point[axis] for point in points) - min(point[axis] for point in points)
                for axis in (0, 1)
            )
            trunks += high > 0.8 * HEIGHT_MM
            limbs += high <= 0.8 * HEIGHT_MM and wide > 2.0
    return trunks, limbs


def test_sections_and_gauge_are_drawn_at_one_scale():
    for picture in pictures_of(TreeView.LIMBS):
        if picture.gauge_mm is None or not picture.places:
            continue
        circles = [
            placed.shape
            for placed in flattened(question_picture(picture, ENGLISH))
            if isinstance(placed.shape, Circle)
        ]
        (gauge,) = [each for each in circles if each.ink is Ink.FRAME]
        sections = sorted(each.radius_mm for each in circles if each.ink is Ink.FRESH)
        scale = 2 * gauge.radius_mm / picture.gauge_mm
        assert sections == pytest.approx(
            sorted(place.diameter_mm * scale / 2 for place in picture.places)
        )


def test_sections_and_pencil_are_drawn_at_one_scale():
    with_pencil = [each for each in pictures_of(TreeView.BRANCH) if each.pencil_mm and each.places]
    assert with_pencil
    for picture in with_pencil:
        shapes = [placed.shape for placed in flattened(question_picture(picture, ENGLISH))]
        sections = sorted(
            each.radius_mm for each in shapes if isinstance(each, Circle) and each.ink is Ink.FRESH
        )
        (pencil,) = [
            {x for x, _ in each.points}
            for each in shapes
            if isinstance(each, Polygon) and each.ink is Ink.FRESH
        ]
        scale = (max(pencil) - min(pencil)) / (sum(picture.pencil_mm) / 2)
        assert sections == pytest.approx(
            sorted(place.diameter_mm * scale / 2 for place in picture.places)
        )


def test_the_mark_on_the_pole_lies_where_the_tree_says():
    """A top that ends above the mark is drawn so, by as much as the mark stands above the wire."""
    for picture in pictures_of(TreeView.TOP):
        if picture.pruning.top_mm is None or picture.wire_mm is None:
            continue
        shapes = [placed.shape for placed in flattened(question_picture(picture, ENGLISH))]
        mark_y = next(
            (each.y_mm + each.height_mm / 2)
            for each in shapes
            if isinstance(each, Rect) and each.ink is Ink.SOLID
        )
        wire_y = next(each.start[1] for each in shapes if getattr(each, "ink", None) is Ink.WIRE)
        scale = (wire_y - mark_y) / (picture.mark_mm - picture.wire_mm)
        cut = next(each for each in shapes if isinstance(each, Polygon) and each.ink is Ink.CUT)
        cut_y = sum(y for _, y in cut.points) / len(cut.points)
        assert mark_y - cut_y == pytest.approx(
            scale * (picture.pruning.top_mm - picture.mark_mm), abs=1.6
        )


def test_numbers_are_left_out_of_choices():
    for picture in choices():
        drawing = choice_picture(picture, ENGLISH)
        assert not [
            placed
            for placed in flattened(drawing)
            if isinstance(placed.shape, Circle) and placed.shape.radius_mm == DISC_MM
        ]


def test_pictures_are_the_same_for_the_same_tree():
    picture = pictures_of()[0]
    size = (WIDTH_MM, HEIGHT_MM)
    assert tree_picture_shapes(picture, ENGLISH, size) == tree_picture_shapes(
        picture, ENGLISH, size
    )


def test_labels_move_apart_and_keep_their_order():
    stands = kept_apart([10.0, 4.0, 5.0, 20.0], 3.0, (3.0, 20.0))
    assert stands == [10.0, 4.0, 7.0, 20.0]
    assert kept_apart([19.0, 20.0], 3.0, (3.0, 20.0)) == [17.0, 20.0]


# --- signs


def test_every_sign_is_a_square_and_no_two_look_alike():
    signs = [
        *(SignPicture(numbers) for numbers in ((), (1,), (2,), (1, 3), (1, 2, 3), (1, 2, 3, 4, 5))),
        FaultPicture(Stage.TOP, None),
        *(FaultPicture(Stage.TOP, fault) for fault in (Fault.HIGH, Fault.LOW, Fault.BLUNT)),
        *(FaultPicture(Stage.LIMBS, fault) for fault in (Fault.TOO_FEW, Fault.TOO_MANY)),
        *(FaultPicture(Stage.COLUMNS, fault) for fault in (Fault.FORK, Fault.UPRIGHT)),
        *(FaultPicture(Stage.HEADING, fault) for fault in (Fault.THICK, Fault.THIN)),
    ]
    drawn = [question_picture(sign, ENGLISH) for sign in signs]
    for drawing in drawn:
        assert drawing.width_mm == drawing.height_mm
        assert drawing.title
        assert_nothing_clipped(drawing)
    shapes = [drawing.shapes for drawing in drawn]
    assert all(one not in shapes[:place] for place, one in enumerate(shapes))


def test_signs_have_no_words():
    faults = (FaultPicture(Stage.TOP, fault) for fault in (Fault.HIGH, None))
    for sign in (SignPicture(), *faults):
        assert printed_lines(question_picture(sign, ENGLISH)) == []
    numbers = printed_lines(question_picture(SignPicture((1, 3)), ENGLISH))
    assert [line.text for line in numbers] == ["1", "3"]
