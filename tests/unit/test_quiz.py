"""Quizzes on paper: readable, in one piece, with a key that belongs to the questions."""

import re
from dataclasses import replace
from datetime import date
from functools import cache

import pytest

from audits.messages import ENGLISH
from audits.questions import (
    BranchPicture,
    CutShape,
    EndPicture,
    LimbsPicture,
    TopPicture,
)
from audits.quizzes import VARIANTS, guessing_chance, make_quiz
from audits.standard import preset, read_standard
from audits.vocabulary import BearingHabit, HeadingRule, QuizStyle
from printables import flow, quiz
from printables.answer_sheet import LETTERS, AnswerSheet
from printables.drawing.primitives import Drawing, Rect, flattened
from printables.question_pictures import HEIGHT_MM, WIDTH_MM, question_picture
from printables.quiz import TEXT_PT, quiz_paper, quiz_papers
from printables.sheet import PAGE_SIZES_MM, SHEET_PAGES, Page
from printables.subject import StandardSubject
from tests.paper import (
    assert_nothing_clipped,
    page_sizes_mm,
    page_texts,
    pdf_of,
    printed_lines,
    tags,
)
from tests.reading import METRIC_ENGLISH, PSEUDO, spanish_words

SUBJECT = StandardSubject("Alder Flat", "Gala Home 3", 2, date(2025, 12, 1))
READERS = {"en": ENGLISH, "en metric": METRIC_ENGLISH, "pseudo": PSEUDO}
every_reader = pytest.mark.parametrize("words", READERS.values(), ids=READERS)
SEEDS = range(4)


def standard(**changes):
    payload = preset(BearingHabit.STANDARD, 11 * 304.8, top_wire_mm=3048.0).model_dump()
    payload["heading"]["rule"] = HeadingRule.REQUIRED
    for name, value in changes.items():
        stage, _, field = name.partition("__")
        payload[stage][field] = value
    return read_standard(payload)


USUAL = standard()
STANDARDS = (
    USUAL,
    standard(limbs__most=3),
    standard(limbs__least=3, limbs__most=4),
    standard(limbs__least=6, limbs__most=8, top__tolerance_mm=40.0),
    standard(limbs__large_mm=38.0, top__tolerance_mm=400.0, columns__side_branch_mm=450.0),
    standard(limbs__least=0, limbs__most=1, heading__rule=HeadingRule.FORBIDDEN),
    preset(BearingHabit.SPUR, 4200.0),
)


@cache
def questions():
    return tuple(
        question
        for rule in STANDARDS
        for seed in SEEDS
        for question in make_quiz(rule, seed=seed).questions
    )


@pytest.mark.parametrize("variant", VARIANTS)
def test_seed_and_variant_stand_on_every_page(variant):
    texts = page_texts(quiz_paper(SUBJECT, make_quiz(USUAL, seed=4711, variant=variant), ENGLISH))
    assert all(f"Seed 4711, variant {variant}" in text for text in texts)
    *asked, key = texts
    assert all(
        f"Page {number} of {len(asked)}" in text for number, text in enumerate(asked, start=1)
    )
    assert "Page 1 of 1" in key


def test_all_questions_and_choices_are_printed_in_order():
    made = make_quiz(USUAL, seed=7)
    *pages, _ = page_texts(quiz_paper(SUBJECT, made, ENGLISH))
    text = " ".join(pages)
    place = 0
    for number, question in enumerate(made.questions, start=1):
        place = text.index(f"{number} {ENGLISH.say(question.stem).split()[0]}", place)
        for letter, choice in zip(LETTERS, question.choices, strict=False):
            said = "" if question.choice_pictures else ENGLISH.say(choice).split()[0]
            place = text.index(f"{letter} {said}".strip(), place)


@pytest.mark.parametrize("seed", range(5))
def test_the_key_is_the_last_page_and_agrees_with_the_questions(seed):
    made = make_quiz(USUAL, seed=seed, variant="C")
    *pages, key = page_texts(quiz_paper(SUBJECT, made, ENGLISH))
    assert not any("Answer key" in page for page in pages)
    assert "Answer key" in key
    rows = re.findall(r"(?<![\d.])(\d{1,2}) ([A-D]) (?:Top|Limbs|Columns|Heading|Safety)", key)
    assert [(int(number), letter) for number, letter in rows] == [
        (number, LETTERS[question.key]) for number, question in enumerate(made.questions, start=1)
    ]


def test_there_is_room_for_a_name_and_a_date():
    first = page_texts(quiz_paper(SUBJECT, make_quiz(USUAL, seed=1), ENGLISH))[0]
    assert "Name" in first
    assert "Date" in first


@pytest.mark.parametrize("page", SHEET_PAGES)
def test_pages_are_of_the_size_asked_for(page):
    pdf = pdf_of(quiz_paper(SUBJECT, make_quiz(USUAL, seed=1), ENGLISH, page=page))
    assert page_sizes_mm(pdf) == {PAGE_SIZES_MM[page]}


def test_the_title_is_tagged_as_the_heading():
    first, *others = tags(quiz_paper(SUBJECT, make_quiz(USUAL, seed=1), ENGLISH))
    assert first[0][0] == "H1"
    assert "H1" not in [kind for page in (first[1:], *others) for kind, _, _ in page]


def test_the_same_quiz_gives_the_same_bytes():
    papers = [pdf_of(quiz_paper(SUBJECT, make_quiz(USUAL, seed=3), ENGLISH)) for _ in range(2)]
    assert papers[0] == papers[1]
    assert pdf_of(quiz_paper(SUBJECT, make_quiz(USUAL, seed=4), ENGLISH)) != papers[0]


def test_the_file_names_its_language():
    assert b"/Lang (es)" in pdf_of(quiz_paper(SUBJECT, make_quiz(USUAL, seed=3), PSEUDO))


def test_a_quiz_fits_on_four_pages_and_its_key():
    for seed in range(12):
        assert len(page_texts(quiz_paper(SUBJECT, make_quiz(USUAL, seed=seed), ENGLISH))) <= 5


# --- several variants, and the key

ALL_VARIANTS = tuple(make_quiz(USUAL, seed=7, variant=variant) for variant in VARIANTS)


def key_rows(text: str) -> list[tuple[int, str]]:
    rows = re.findall(r"(?<![\d.])(\d{1,2}) ([A-D]) (?:Top|Limbs|Columns|Heading|Safety)", text)
    return [(int(number), letter) for number, letter in rows]


def test_the_keys_of_all_variants_come_last_each_on_its_page():
    texts = page_texts(quiz_papers(SUBJECT, ALL_VARIANTS, ENGLISH))
    keys = texts[-len(VARIANTS) :]
    assert not any("Answer key" in text for text in texts[: -len(VARIANTS)])
    for number, (made, key) in enumerate(zip(ALL_VARIANTS, keys, strict=True), start=1):
        assert f"Seed 7, variant {made.variant}" in key
        assert f"Page {number} of {len(VARIANTS)}" in key
        assert key_rows(key) == [
            (place, LETTERS[question.key]) for place, question in enumerate(made.questions, start=1)
        ]


def test_questions_are_numbered_within_their_variant():
    texts = page_texts(quiz_papers(SUBJECT, ALL_VARIANTS, ENGLISH))[: -len(VARIANTS)]
    for variant in VARIANTS:
        own = [text for text in texts if f"variant {variant}" in text]
        assert own
        assert all(
            f"Page {number} of {len(own)}" in text for number, text in enumerate(own, start=1)
        )


def test_an_answer_sheet_comes_behind_the_questions_of_its_variant():
    sheets = [
        AnswerSheet(SUBJECT, 17, made, number, name)
        for number, (made, name) in enumerate(
            zip(ALL_VARIANTS, ("Ana", "Luis", "Eva", "Tito"), strict=True), start=1
        )
    ]
    texts = page_texts(quiz_papers(SUBJECT, ALL_VARIANTS, ENGLISH, answer_sheets=sheets))
    order = [re.search(r"variant ([A-D])", text).group(1) for text in texts[: -len(VARIANTS)]]
    assert order == sorted(order)
    assert all(
        f"variant {made.variant}" in text
        for made, name in zip(ALL_VARIANTS, ("Ana", "Luis", "Eva", "Tito"), strict=True)
        for text in texts
        if name in text
    )


def test_the_key_says_with_how_many_a_quiz_is_passed_and_how_often_by_guessing():
    made = ALL_VARIANTS[0]
    *_, key = page_texts(quiz_paper(SUBJECT, made, ENGLISH, pass_mark=8))
    chance = guessing_chance(made, 8)
    assert "Passed with 8 of 10 or more." in key
    said = re.search(r"1 in ([\d,]+) would pass", key).group(1)
    assert int(said.replace(",", "")) == pytest.approx(1 / chance, rel=0.05)
    *_, easy = page_texts(quiz_paper(SUBJECT, made, ENGLISH, pass_mark=3))
    assert f"{round(100 * guessing_chance(made, 3))} in 100 would pass" in easy
    *_, none = page_texts(quiz_paper(SUBJECT, made, ENGLISH))
    assert "guessing" not in none


def test_the_key_gives_the_reason_of_each_answer():
    made = make_quiz(USUAL, seed=7)
    *_, key = page_texts(quiz_paper(SUBJECT, made, ENGLISH))
    reasons = [ENGLISH.say(question.why) for question in made.questions if question.why.text]
    assert len(reasons) >= 8
    assert all(reason in key for reason in reasons)


# --- in pictures


def test_a_quiz_in_pictures_has_no_choice_in_words():
    made = make_quiz(USUAL, seed=7, style=QuizStyle.PICTURES)
    *asked, _ = page_texts(quiz_paper(SUBJECT, made, ENGLISH, style=QuizStyle.PICTURES))
    text = " ".join(asked)
    assert "in pictures" in text
    for question in made.questions:
        assert ENGLISH.say(question.stem) in text
        assert not any(ENGLISH.say(choice) in text for choice in question.choices)


@pytest.mark.parametrize("rule", STANDARDS)
def test_no_quiz_in_pictures_is_answered_by_finding_the_same_picture_again(rule):
    """A branch drawn close by looks like the picture of its own fault."""
    for seed in range(8):
        for question in make_quiz(rule, seed=seed, style=QuizStyle.PICTURES).questions:
            assert not isinstance(question.picture, BranchPicture), question.item


@every_reader
@pytest.mark.parametrize("page", SHEET_PAGES)
def test_picture_choices_stay_inside_their_block_and_apart(words, page):
    width = flow.content_width(page)
    for rule in STANDARDS[:3]:
        for seed in range(2):
            for question in make_quiz(rule, seed=seed, style=QuizStyle.PICTURES).questions:
                for on_sheets in (False, True):
                    block = quiz._question_block(9, question, words, width, on_sheets=on_sheets)
                    assert_nothing_clipped(block)
                    assert block.height_mm < flow.content_height(page)


# --- with answer sheets


def test_answer_sheets_come_before_the_key_and_take_the_boxes_of_the_questions():
    made = make_quiz(USUAL, seed=7)
    sheets = [
        AnswerSheet(SUBJECT, 17, made, worker_id, name)
        for worker_id, name in ((5, "Ana Ruiz"), (6, "Luis Vega"))
    ]
    *questions, ana, luis, key = page_texts(
        quiz_paper(SUBJECT, made, ENGLISH, answer_sheets=sheets)
    )
    assert "Answer sheet" in ana
    assert "Ana Ruiz" in ana
    assert "Luis Vega" in luis
    assert "Answer key" in key
    assert "on the answer sheet" in questions[0]
    assert "Name" not in questions[0]
    boxes = {
        on_sheets: sum(
            isinstance(placed.shape, Rect)
            for question in made.questions
            for placed in flattened(
                quiz._question_block(1, replace(question, picture=None), ENGLISH, 180.0, **options)
            )
        )
        for on_sheets, options in ((False, {}), (True, {"on_sheets": True}))
    }
    assert boxes == {False: sum(len(question.choices) for question in made.questions), True: 0}


# --- whether it can be read


@every_reader
@pytest.mark.parametrize("page", SHEET_PAGES)
def test_questions_are_large_and_nothing_is_clipped(words, page):
    width = flow.content_width(page)
    for number, question in enumerate(questions(), start=1):
        block = quiz._question_block(number % 10 + 1, question, words, width)
        assert_nothing_clipped(block)
        if question.choice_pictures:
            continue
        assert min(line.size_pt for line in printed_lines(block)) >= TEXT_PT - 1e-6


@pytest.mark.parametrize("page", SHEET_PAGES)
def test_questions_are_not_clipped_in_spanish(page):
    words = spanish_words()
    for question in questions():
        assert_nothing_clipped(quiz._question_block(10, question, words, flow.content_width(page)))


@every_reader
def test_head_and_key_are_not_clipped(words):
    made = make_quiz(USUAL, seed=2)
    width = flow.content_width(Page.A4)
    long = replace(SUBJECT, block="Honeycrisp Upper Bench 12B, east of the pond and the road")
    for drawing in (
        quiz._head(long, quiz.say("Quiz: %(block)s", block=long.block), words, width),
        quiz._key_head(long, made, words, width),
        quiz._key_table(made, words, width),
        quiz._footer("Seed 7, variant A, in pictures", words, width, (1, 4)),
    ):
        assert_nothing_clipped(drawing)


# --- pictures


@every_reader
def test_pictures_keep_their_numbers_inside_and_apart(words):
    for question in questions():
        if question.picture is not None:
            drawing = question_picture(question.picture, words)
            assert (drawing.width_mm, drawing.height_mm) == (WIDTH_MM, HEIGHT_MM)
            assert_nothing_clipped(drawing)


@pytest.mark.parametrize(
    ("picture", "labels"),
    [
        (
            TopPicture(3400.0, (3200.0, 3000.0, 2700.0), 3048.0),
            {"3.40 m", "3.20 m", "3.00 m", "2.70 m", "3.05 m", "top wire", "1", "2", "3"},
        ),
        (TopPicture(2500.0, (2300.0,), None, broken=True), {"2.50 m", "2.30 m", "1"}),
        (TopPicture(3000.0, (), None, cut=True), {"3.00 m"}),
        (TopPicture(3000.0, (), None, cut=True, to_side_branch=False), {"3.00 m"}),
        (
            LimbsPicture((12.0, 24.0), (30.0,)),
            {"1", "2", "12 mm", "24 mm", "30 mm"},
        ),
        (LimbsPicture((24.0,), limb_height_mm=400.0), {"1", "24 mm", "40 cm"}),
        (LimbsPicture((), (24.0,), CutShape.PEG, 1200.0), {"1.20 m above the soil"}),
        (LimbsPicture((), (24.0,), CutShape.FLUSH, None), set()),
        (BranchPicture(side_shoot_mm=250.0), {"25 cm"}),
        (BranchPicture(side_shoot_mm=60.0), {"6 cm"}),
        (BranchPicture(fork=True), set()),
        (BranchPicture(upright=True), set()),
        (BranchPicture(tip=False), set()),
        (BranchPicture(spurs=False), set()),
        (BranchPicture(), set()),
        (
            EndPicture((13.0, 7.5, 3.5), 2),
            {"1", "2", "3", "13 mm", "7.5 mm", "3.5 mm"},
        ),
        (EndPicture((13.0,), 1, cut=True), {"cut, 13 mm"}),
        (EndPicture((3.5,), 0, cut=True), {"cut, 3.5 mm"}),
    ],
)
def test_pictures_show_the_numbers_of_the_question(picture, labels):
    drawing = question_picture(picture, METRIC_ENGLISH)
    assert {line.text for line in printed_lines(drawing)} == labels


def test_different_branches_look_different():
    pictures = [
        BranchPicture(),
        BranchPicture(fork=True),
        BranchPicture(upright=True),
        BranchPicture(tip=False),
        BranchPicture(spurs=False),
        BranchPicture(side_shoot_mm=250.0),
        BranchPicture(side_shoot_mm=60.0),
    ]
    drawn = [question_picture(picture, ENGLISH).shapes for picture in pictures]
    assert all(one not in drawn[:place] for place, one in enumerate(drawn))


# --- the flow of pages


def piece(height_mm: float) -> Drawing:
    return Drawing(100.0, height_mm, (), "")


def test_pieces_are_never_cut_by_a_page_end():
    pages = flow._broken([piece(100.0)] * 5, 240.0, 5.0)
    assert [len(group) for group in pages] == [2, 2, 1]


def test_a_piece_that_just_fits_stays_on_its_page():
    assert len(flow._broken([piece(100.0), piece(95.0)], 200.0, 5.0)) == 1
    assert len(flow._broken([piece(100.0), piece(95.1)], 200.0, 5.0)) == 2


def test_a_piece_higher_than_a_page_is_an_error():
    with pytest.raises(ValueError, match="a page has 240"):
        flow._broken([piece(241.0)], 240.0, 5.0)
