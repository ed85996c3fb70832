"""Answer sheets: which quiz a code stands for, and what was answered."""

from collections.abc import Callable, Collection, Iterable
from dataclasses import dataclass, replace

from audits.errors import NotFound
from audits.messages import Message, Words, say
from audits.quizzes import VARIANTS, Quiz, marked
from audits.records import Block, SheetPhoto, StandardVersion, Worker
from audits.services.accounts import LANGUAGES
from audits.services.quiz_attempts import QuizPaper, find_paper, quiz_of
from audits.services.quiz_results import JudgedQuestion
from audits.storage.queries import farms as farm_queries
from audits.storage.queries import standards as standard_queries
from audits.vocabulary import QuizStyle
from printables.answer_sheet import (
    LETTERS,
    METHOD_LETTERS,
    STYLE_LETTERS,
    AnswerSheet,
    answer_marked_pages,
    answer_sheet,
    chosen_answers,
)
from printables.document import Document
from printables.marked import PAPER_LETTERS, MarkedPage, SheetCode, parse_code
from printables.sheet import Page
from webapp.access import actor
from webapp.coaching.papers import name_of
from webapp.extensions import database, farm
from webapp.printing.choices import SubjectChoice
from webapp.reading import words_of_farm

_FIELDS = 7


@dataclass(frozen=True)
class FoundSheet:
    """An answer sheet as its code tells: which quiz, on which paper, and whose if anybody's."""

    paper: QuizPaper
    page: Page
    version: StandardVersion
    block: Block
    worker: Worker | None


@dataclass(frozen=True)
class MarkedAnswer:
    """A question of an attempt: what was answered, what is right, and whether that is the same."""

    number: int
    stem: Message
    answer: str
    key: str
    right_choice: Message
    is_right: bool


def answer_page(code: SheetCode) -> MarkedPage:
    """
    Return the answer sheet that a code stands on, as it would be printed.

    Which items were retired then does not stand on it: the lists that were ever in force are tried
    until the check letters of the code agree. Where none does, the page differs from the code.
    """
    sheet = found_sheet(code)

    def page_with(quiz: Quiz) -> MarkedPage:
        (page,) = answer_marked_pages(_printed(sheet, quiz), _reader(sheet.paper), sheet.page)
        return page

    paper = as_printed(sheet, lambda quiz: page_with(quiz).code == code)
    return page_with(quiz_of(database(), actor(), paper or sheet.paper))


def as_printed(sheet: FoundSheet, agrees: Callable[[Quiz], bool]) -> QuizPaper | None:
    """Return the paper of a sheet with the items that were retired then; None where none agrees."""
    return find_paper(database(), actor(), sheet.paper, agrees)


def answer_document(paper: QuizPaper, page: Page, worker_id: int = 0) -> Document:
    """Print the answer sheet of a quiz, for one worker or for nobody in particular."""
    quiz = quiz_of(database(), actor(), paper)
    return answer_sheet(_printed(_known(paper, page, worker_id), quiz), _reader(paper), page=page)


def _printed(found: FoundSheet, quiz: Quiz) -> AnswerSheet:
    return AnswerSheet(
        subject=SubjectChoice.of(farm(), found.block, found.version, found.paper.method).subject,
        standard_version_id=found.version.id,
        quiz=quiz,
        worker_id=found.worker.id if found.worker else 0,
        worker_name=found.worker.name if found.worker else "",
        worker_code=found.worker.code if found.worker else "",
        style=found.paper.style,
    )


def _reader(paper: QuizPaper) -> Words:
    return words_of_farm(farm(), paper.language)


def sheet_of_photo(photo: SheetPhoto) -> FoundSheet:
    """Return the answer sheet on a kept photo."""
    code = parse_code(photo.code)
    if code is None:
        raise _no_such_sheet()
    return found_sheet(code)


def found_sheet(code: SheetCode) -> FoundSheet:
    """Return what a code stands for; raises NotFound if this farm has no such quiz."""
    # A method's letter alone is from before quizzes in pictures.
    ways = {
        method_letter + style_letter: (method, style)
        for method, method_letter in METHOD_LETTERS.items()
        for style, style_letter in STYLE_LETTERS.items()
    }
    ways |= {letter: (method, QuizStyle.WORDS) for method, letter in METHOD_LETTERS.items()}
    papers = {letter: page for page, letter in PAPER_LETTERS.items()}
    languages = {language.upper(): language for language in LANGUAGES}
    if len(code.fields) != _FIELDS:
        raise _no_such_sheet()
    version_id, seed, variant, way, paper, language, worker_id = code.fields
    known = way in ways and paper in papers and language in languages
    if not known or not all(_is_number(text) for text in (version_id, seed, worker_id)):
        raise _no_such_sheet()
    method, style = ways[way]
    quiz = QuizPaper(int(version_id), int(seed), variant, method, languages[language], style)
    return _known(quiz, papers[paper], int(worker_id))


def _known(paper: QuizPaper, page: Page, worker_id: int) -> FoundSheet:
    with database().read() as connection:
        version = standard_queries.standard_by_id(
            connection, actor().farm_id, paper.standard_version_id
        )
        block = (
            farm_queries.block_by_id(connection, actor().farm_id, version.block_id)
            if version
            else None
        )
        worker = farm_queries.worker_by_id(connection, actor().farm_id, worker_id)
    if version is None or block is None:
        raise _no_such_sheet()
    return FoundSheet(paper, page, version, block, worker)


def likely_variant(paper: QuizPaper, marked_boxes: Collection[str]) -> str:
    """
    Return the other variant whose questions somebody seems to have had; "" where none stands out.

    Answers to another order of the questions are right about as often as guesses.
    """
    right = {
        variant: sum(marked(quiz, chosen_answers(marked_boxes, quiz).places))
        for variant in VARIANTS
        for quiz in (quiz_of(database(), actor(), replace(paper, variant=variant)),)
    }
    best = max(right, key=lambda variant: right[variant])
    return best if right[best] >= right[paper.variant] + _FAR_BETTER else ""


# In simulated quizzes of one standard this points at another variant for 2 in 100 people who guess
# everything and for none who know most answers; it finds 9 in 10 who know all and had the
# questions of another variant.
_FAR_BETTER = 5


def marked_answers(judged: Iterable[JudgedQuestion]) -> list[MarkedAnswer]:
    """Return each question of an attempt beside its key."""
    return [
        MarkedAnswer(
            number=each.number,
            stem=each.question.stem,
            answer="" if each.answer is None else LETTERS[each.answer],
            key=LETTERS[each.question.key],
            right_choice=each.question.answer,
            is_right=each.is_right,
        )
        for each in judged
    ]


def worker_words(worker: Worker) -> str:
    """Return a worker as people call them."""
    return name_of(worker)


def _is_number(text: str) -> bool:
    # More digits than any id or seed has.
    return text.isascii() and text.isdecimal() and len(text) <= len(str(2**31))


def _no_such_sheet() -> NotFound:
    return NotFound(say("This farm knows no quiz by the code of this sheet."))
