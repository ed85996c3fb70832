"""Answer sheets: one page, large boxes where they are looked for, and answers out of marks."""

from dataclasses import replace
from datetime import date

import pytest

from audits.errors import InvalidInput
from audits.messages import ENGLISH
from audits.questions import reordered
from audits.quizzes import make_quiz
from audits.standard import preset
from audits.vocabulary import BearingHabit, Method, QuizStyle, SheetKind
from printables.answer_sheet import (
    LETTERS,
    METHOD_LETTERS,
    STYLE_LETTERS,
    AnswerSheet,
    answer_leaf,
    answer_marked_pages,
    answer_sheet,
    choice_key,
    chosen_answers,
)
from printables.document import Role
from printables.drawing.inks import Ink
from printables.drawing.primitives import Rect, flattened
from printables.marked import BoxKind, parse_code
from printables.paper_code import CODE_LETTERS, code_room, content_area
from printables.sheet import PAGE_SIZES_MM, SHEET_PAGES, Page
from printables.subject import StandardSubject
from tests.paper import assert_nothing_clipped, page_sizes_mm, page_texts, pdf_of, printed_lines
from tests.reading import PSEUDO, spanish_words

SUBJECT = StandardSubject("Alder Flat", "Gala Home 3", 2, date(2025, 12, 1))
QUIZ = make_quiz(preset(BearingHabit.STANDARD, 3_350.0), seed=4711, variant="C")
BLANK = AnswerSheet(SUBJECT, 17, QUIZ)
SHEETS = {
    "blank": BLANK,
    "named": replace(BLANK, worker_id=5, worker_name="María Hernández", worker_code="W12"),
    "erased": replace(BLANK, worker_id=5, worker_code="W12"),
    "long": replace(
        BLANK,
        subject=replace(SUBJECT, block="The northern home blocks, the bench, and what lies " * 2),
        worker_id=5,
        worker_name="Hernándezquintanar" * 5,
        worker_code="W123456789",
    ),
}
every_sheet = pytest.mark.parametrize("sheet", SHEETS.values(), ids=SHEETS)
every_page = pytest.mark.parametrize("page", SHEET_PAGES)


@every_sheet
@every_page
def test_it_is_one_page_of_the_paper_asked_for(sheet, page):
    document = pdf_of(answer_sheet(sheet, ENGLISH, page=page))
    assert len(page_texts(document)) == 1
    assert page_sizes_mm(document) == {PAGE_SIZES_MM[page]}
    assert document == pdf_of(answer_sheet(sheet, ENGLISH, page=page))


def test_it_says_which_quiz_it_is_and_whose():
    text = page_texts(answer_sheet(SHEETS["named"], ENGLISH))[0]
    for words in (
        "Answer sheet: Gala Home 3",
        "Standard 2, from Dec 1, 2025.",
        "Seed 4711, variant C",
        "María Hernández (W12)",
        "Date",
    ):
        assert words in text
    assert "W12" in page_texts(answer_sheet(SHEETS["erased"], ENGLISH))[0]


@every_page
def test_there_is_a_box_for_every_choice_and_no_other(page):
    (one,) = answer_marked_pages(BLANK, ENGLISH, page)
    marks = {box.key: box.group for box in one.boxes if box.kind is BoxKind.MARK}
    assert marks == {
        f"q{number}.{letter}": f"q{number}"
        for number, question in enumerate(QUIZ.questions, start=1)
        for letter, _ in zip(LETTERS, question.choices, strict=False)
    }


def test_who_is_not_printed_writes_name_and_code():
    def written(sheet):
        (one,) = answer_marked_pages(sheet, ENGLISH, Page.LETTER)
        return [box.key for box in one.boxes if box.kind is BoxKind.WRITTEN]

    assert written(BLANK) == ["name", "code", "date"]
    assert written(SHEETS["named"]) == ["date"]


@every_sheet
@every_page
def test_boxes_are_looked_for_where_their_frames_are_drawn(sheet, page):
    (one,) = answer_marked_pages(sheet, ENGLISH, page)
    frames = [
        (piece.x_mm + placed.shape.x_mm, piece.y_mm + placed.shape.y_mm, placed.shape)
        for piece in answer_leaf(sheet, ENGLISH, page).pieces
        for placed in flattened(piece.drawing)
        if isinstance(placed.shape, Rect) and placed.shape.ink is Ink.FRAME
    ]
    assert len(frames) == len(one.boxes)
    for box, (left, top, frame) in zip(one.boxes, frames, strict=True):
        assert (box.x_mm, box.y_mm) == pytest.approx((left, top), abs=0.01)
        assert (box.width_mm, box.height_mm) == (frame.width_mm, frame.height_mm)
        # Large enough for a hand that is not used to a pencil.
        assert min(box.width_mm, box.height_mm) >= 8.0


@every_sheet
@every_page
@pytest.mark.parametrize("language", ["en", "pseudo"])
def test_nothing_is_clipped_or_printed_over(sheet, page, language):
    assert_sound(sheet, {"en": ENGLISH, "pseudo": PSEUDO}[language], page)


@every_sheet
@every_page
def test_nothing_is_clipped_in_spanish(sheet, page):
    assert_sound(sheet, spanish_words(), page)


def assert_sound(sheet, words, page):
    left, top, right, bottom = content_area(PAGE_SIZES_MM[page])
    code_left, _, _, code_bottom = code_room(PAGE_SIZES_MM[page])
    pieces = [
        piece
        for piece in answer_leaf(sheet, words, page).pieces
        if piece.spoken_as is not Role.FURNITURE
    ]
    end = top
    for piece in pieces:
        assert_nothing_clipped(piece.drawing)
        assert all(line.size_pt >= 12.0 - 1e-6 for line in printed_lines(piece.drawing))
        piece_right = piece.x_mm + piece.drawing.width_mm
        assert left - 1e-6 <= piece.x_mm
        assert piece_right <= right + 1e-6
        assert piece.y_mm >= end - 1e-6
        assert piece_right <= code_left or piece.y_mm >= code_bottom
        end = piece.y_mm + piece.drawing.height_mm
    assert end <= bottom + 1e-6


# --- its code ------------------------------------------------------------------------------------


def test_its_code_leads_back_to_the_quiz_the_paper_and_the_worker():
    sheet = replace(SHEETS["named"], subject=replace(SUBJECT, method=Method.PLATFORM))
    (one,) = answer_marked_pages(sheet, spanish_words(), Page.A4)
    assert one.code.kind is SheetKind.ANSWERS
    assert one.code.fields == ("17", "4711", "C", "PW", "A", "ES", "5")
    assert parse_code(one.code.text) == one.code
    assert answer_marked_pages(BLANK, ENGLISH, Page.LETTER)[0].code.fields[-1] == "0"


def test_its_code_tells_whether_choices_are_pictures():
    codes = {
        style: answer_marked_pages(replace(BLANK, style=style), ENGLISH, Page.A4)[0].code.fields[3]
        for style in QuizStyle
    }
    assert codes == {QuizStyle.WORDS: "LW", QuizStyle.PICTURES: "LP"}
    shown = page_texts(answer_sheet(replace(BLANK, style=QuizStyle.PICTURES), ENGLISH))[0]
    assert "Seed 4711, variant C, in pictures" in shown


def test_no_letter_of_a_method_means_two():
    assert len(set(METHOD_LETTERS.values())) == len(Method)
    assert len(set(STYLE_LETTERS.values())) == len(QuizStyle)


def test_the_same_key_on_another_item_is_another_sheet():
    """Where an item was retired, a quiz with the same letters may ask something else."""
    first, *others = QUIZ.questions
    renamed = replace(QUIZ, questions=(replace(first, item="another"), *others))
    assert renamed.key == QUIZ.key
    (was,), (now,) = (
        answer_marked_pages(replace(BLANK, quiz=quiz), ENGLISH, Page.A4) for quiz in (QUIZ, renamed)
    )
    assert was.code != now.code


def test_the_largest_numbers_that_a_store_gives_fit_into_the_code():
    most = 2**31 - 1
    sheet = replace(
        BLANK,
        standard_version_id=most,
        quiz=replace(QUIZ, seed=most),
        worker_id=most,
    )
    (one,) = answer_marked_pages(sheet, ENGLISH, Page.LETTER)
    assert len(one.code.text) <= CODE_LETTERS
    answer_leaf(sheet, ENGLISH, Page.LETTER)


def test_names_with_letters_that_the_font_lacks_are_refused():
    with pytest.raises(InvalidInput) as caught:
        replace(BLANK, worker_id=1, worker_name="\u738b\u82b3")
    assert set(caught.value.problems) == {"name"}


# --- from marks to answers -----------------------------------------------------------------------


def test_one_mark_a_question_is_its_answer():
    key = {choice_key(number, place) for number, place in enumerate(QUIZ.key, start=1)}
    chosen = chosen_answers(key, QUIZ)
    assert chosen.places == QUIZ.key
    assert (chosen.contradictory, chosen.missing) == ((), ())


def test_several_marks_or_none_are_no_answer():
    chosen = chosen_answers({"q1.A", "q2.A", "q2.B", "name"}, QUIZ)
    assert chosen.places == (0, *[None] * 9)
    assert chosen.contradictory == (2,)
    assert chosen.missing == tuple(range(3, 11))


def test_the_same_boxes_with_another_key_are_another_sheet():
    """A standard may be changed after its quiz was printed; no sheet is marked by the new key."""
    first, *others = QUIZ.questions
    order = tuple(reversed(range(len(first.choices))))
    changed = replace(BLANK, quiz=replace(QUIZ, questions=(reordered(first, order), *others)))
    (was,), (now,) = (answer_marked_pages(sheet, ENGLISH, Page.A4) for sheet in (BLANK, changed))
    assert was.boxes == now.boxes
    assert was.code != now.code
    assert now.code.layout == now.layout
