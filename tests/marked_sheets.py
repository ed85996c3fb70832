"""Tally sheets and answer sheets as printed: both languages, both papers, with their boxes."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date
from functools import cache

from PIL import Image

from audits.messages import ENGLISH, Words
from audits.quizzes import make_quiz
from audits.standard import preset
from audits.vocabulary import BearingHabit
from printables.answer_sheet import AnswerSheet, answer_marked_pages, answer_sheet
from printables.document import Document
from printables.marked import MarkedPage
from printables.sheet import SHEET_PAGES, Page
from printables.subject import StandardSubject
from printables.tally_sheet import tally_marked_pages, tally_sheet
from tests.reading import spanish_words
from tests.synthetic_photos import rasterised
from tests.tallies import SHEET, trees

TALLY = replace(SHEET, reserve=trees(31, 38, way="", mark="+"))
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
