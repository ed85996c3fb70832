"""Tally sheets and answer sheets as printed: both languages, both papers, with their boxes."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from functools import cache

from PIL import Image

from audits.learning import make_quiz
from audits.messages import ENGLISH, Words
from audits.scoring import Tap
from audits.standard import preset
from audits.vocabulary import STAGE_FAULTS, BearingHabit, Fault, Purpose, Stage
from printables.answer_sheet import AnswerSheet, answer_marked_pages, answer_sheet
from printables.document import Document
from printables.marked import MarkedPage
from printables.sheet import SHEET_PAGES, Page
from printables.subject import StandardSubject
from printables.tally_records import (
    TallyAnswer,
    TallyColumn,
    TallySheet,
    TallyTree,
    TallyWave,
    WaveNumbers,
)
from printables.tally_sheet import tally_marked_pages, tally_sheet
from tests.reading import spanish_words
from tests.synthetic_photos import rasterised

RIGHT, NOTHING, FAULT = TallyAnswer(Tap.RIGHT), TallyAnswer(Tap.NOTHING_DUE), TallyAnswer(Tap.FAULT)
COLUMNS = (
    TallyColumn(Stage.TOP, (RIGHT, NOTHING, FAULT), STAGE_FAULTS[Stage.TOP]),
    TallyColumn(
        Stage.LIMBS,
        (
            TallyAnswer(Tap.RIGHT, "2"),
            TallyAnswer(Tap.RIGHT, "3"),
            TallyAnswer(Tap.FEWER_NONE_LEFT),
            FAULT,
        ),
        STAGE_FAULTS[Stage.LIMBS],
    ),
    TallyColumn(Stage.COLUMNS, (RIGHT, NOTHING, FAULT), STAGE_FAULTS[Stage.COLUMNS]),
    TallyColumn(Stage.HEADING, (RIGHT, NOTHING, FAULT), (Fault.THICK, Fault.THIN, Fault.LEFT_LONG)),
)


def _trees(first: int, last: int, mark: str = "") -> tuple[TallyTree, ...]:
    return tuple(
        TallyTree(
            100 + number,
            f"{mark}{number}",
            f"panel {number}, tree {1 + number % 10}",
            "Row 12",
            ("left side", "right side")[number % 2],
            "" if mark else "out: 3 panels on",
        )
        for number in range(first, last + 1)
    )


def _numbers(accepted: int, rejected: int) -> tuple[WaveNumbers, ...]:
    return tuple(WaveNumbers(column.stage, accepted, rejected) for column in COLUMNS)


TALLY = TallySheet(
    audit=7,
    farm="Alder Flat",
    block="Gala Home 3",
    crew="North crew",
    lot="Row 12",
    auditor="Marta Silva",
    standard_version=2,
    draw=1417,
    drawn_on=date(2025, 12, 5),
    purpose=Purpose.FIRST,
    columns=COLUMNS,
    waves=(
        TallyWave(_trees(1, 14), _numbers(0, 4)),
        TallyWave(_trees(15, 30), _numbers(4, 5)),
    ),
    reserve=_trees(31, 38, "+"),
)
ANSWERS = AnswerSheet(
    StandardSubject("Alder Flat", "Gala Home 3", 2, date(2025, 12, 1)),
    17,
    make_quiz(preset(BearingHabit.STANDARD, 3_350.0), seed=4711, variant="C"),
)


@dataclass(frozen=True)
class PrintedPage:
    """A page as it comes from the printer, and where its boxes are."""

    name: str
    page: MarkedPage
    image: Image.Image


def _documents(words: Words, paper: Page) -> Iterator[tuple[str, Document, tuple[MarkedPage, ...]]]:
    tally = tally_sheet(TALLY, words, page=paper)
    yield "tally", tally, tally_marked_pages(TALLY, words, paper)
    answers = answer_sheet(ANSWERS, words, page=paper)
    yield "answers", answers, answer_marked_pages(ANSWERS, words, paper)


@cache
def printed_pages(*, most: int | None = None) -> tuple[PrintedPage, ...]:
    """Every page of both sheets in every language and paper, or the first so many of each."""
    return tuple(
        PrintedPage(
            f"{name} {words.language} {paper} {number + 1}", page, rasterised(document, number)
        )
        for words in (ENGLISH, spanish_words())
        for paper in SHEET_PAGES
        for name, document, pages in _documents(words, paper)
        for number, page in enumerate(pages[:most])
    )
