"""The training record: what somebody was shown, asked and briefed on, practised and learned."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

from audits.messages import Message, Words, say, say_n
from audits.standard import SignOffRule
from audits.vocabulary import (
    METHOD_NAMES,
    STAGE_NAMES,
    TRAINING_KIND_NAMES,
    Method,
    Stage,
    TrainingKind,
)
from printables.blanks import blank_fields
from printables.document import Document
from printables.drawing.pictograms import SIZE_MM as PICTOGRAM_MM
from printables.drawing.pictograms import stage_pictogram
from printables.drawing.primitives import Drawing
from printables.flow import Block, Part, content_height, content_width, paged, room_left, under
from printables.fonts import require_letters
from printables.paragraphs import Run, paragraph, stacked
from printables.sheet import Page
from printables.sheet_frame import HEADING_PT, TEXT_PT, section_heading, sheet_foot, sheet_head
from printables.table import Column, Table, table_pieces

_GAP_MM: Final = 2.4
_PICTOGRAM_MM: Final = 13.0
# A stage that nobody began has one line beside it.
_SMALL_PICTOGRAM_MM: Final = 7.0
_TABLE_PT: Final = 11.0
# Rows to note a training by hand before it is typed.
_BLANK_ROWS: Final = 2
_BLANK_ROW_MM: Final = 9.0


@dataclass(frozen=True)
class TrainingLine:
    """
    A training as the record shows it.

    Parameters
    ----------
    stage : Stage
        What was shown.
    kind : TrainingKind
        How.
    held_on : date
        When.
    noted_by : str
        Who wrote it down.
    note : str, optional
        What was written beside it.
    """

    stage: Stage
    kind: TrainingKind
    held_on: date
    noted_by: str
    note: str = ""


@dataclass(frozen=True)
class BriefLine:
    """
    A safety brief as the record shows it.

    Parameters
    ----------
    method : Method
        From where the crew works.
    held_on, until : date
        When it was held, and the last day on which it holds.
    language : str
        Name of the language, in that language.
    noted_by : str
        Who wrote it down.
    """

    method: Method
    held_on: date
    until: date
    language: str
    noted_by: str


@dataclass(frozen=True)
class QuizLine:
    """
    A quiz as the record shows it.

    Parameters
    ----------
    day : date
        When it was taken.
    block : str
        Whose standard it asked about.
    language : str
        Name of the language, in that language.
    correct, questions : int
        Questions answered right, and all of them.
    is_passed : bool or None
        Whether it was passed; None where there was no pass mark yet.
    """

    day: date
    block: str
    language: str
    correct: int
    questions: int
    is_passed: bool | None


@dataclass(frozen=True)
class PracticeLine:
    """
    Practice on drawn trees as the record shows it.

    Parameters
    ----------
    is_pruned : bool
        Whether the trees were pruned; else they were judged.
    trees : int
        How many.
    first, last : date
        From when to when.
    language : str
        Name of the language, in that language.
    """

    is_pruned: bool
    trees: int
    first: date
    last: date
    language: str


@dataclass(frozen=True)
class SignedOff:
    """
    How a stage was signed off.

    Parameters
    ----------
    day : date
        When, as the farm's calendar has it.
    name : str
        Who signed.
    trees, nonconforming : int
        The trees with which the rule was met, and how many of them had a fault.
    """

    day: date
    name: str
    trees: int
    nonconforming: int


@dataclass(frozen=True)
class LearnedStage:
    """
    How far a worker is with a stage.

    Parameters
    ----------
    stage : Stage
        The stage.
    begun_on : date or None, optional
        Since when it is learned; None if it was never begun.
    begun_by : str, optional
        Who let it begin.
    trees, nonconforming : int, optional
        Due trees since then, and how many of them had a fault.
    rule : SignOffRule or None, optional
        When it is signed off; None before the crew's first pass.
    standard : Message or None, optional
        Whose rule that is, such as a block with its standard's number.
    signed_off : SignedOff or None, optional
        How it was signed off; None while it is not.
    """

    stage: Stage
    begun_on: date | None = None
    begun_by: str = ""
    trees: int = 0
    nonconforming: int = 0
    rule: SignOffRule | None = None
    standard: Message | None = None
    signed_off: SignedOff | None = None


@dataclass(frozen=True)
class TrainingRecord:
    """
    A training record, ready to be printed.

    Parameters
    ----------
    farm, worker : str
        Their names.
    issued_on : date
        The day of the record.
    stages : tuple of LearnedStage
        The stages, from the top of the tree down; at least one.
    trainings : tuple of TrainingLine
        All trainings.
    crew : str, optional
        The worker's crew; empty if there is none.
    started_on : date or None, optional
        The worker's first day, if it was written down.
    briefs : tuple of BriefLine, optional
        Safety briefs, the latest first.
    quizzes : tuple of QuizLine, optional
        Quizzes, the latest first.
    practice : tuple of PracticeLine, optional
        What was practised on drawn trees.
    practised : tuple of tuple of Stage and int, optional
        Stages of pruned trees: how many were right, and how many there were.

    Raises
    ------
    InvalidInput
        If a name or a note has letters that the printed font lacks.
    ValueError
        If there is no stage.
    """

    farm: str
    worker: str
    issued_on: date
    stages: tuple[LearnedStage, ...]
    trainings: tuple[TrainingLine, ...]
    crew: str = ""
    started_on: date | None = None
    briefs: tuple[BriefLine, ...] = ()
    quizzes: tuple[QuizLine, ...] = ()
    practice: tuple[PracticeLine, ...] = ()
    practised: tuple[tuple[Stage, int, int], ...] = ()

    def __post_init__(self) -> None:
        if not self.stages:
            raise ValueError("stages is empty; a standard uses at least one")
        people = {line.noted_by for line in self.trainings}
        people |= {each.begun_by for each in self.stages}
        people |= {brief.noted_by for brief in self.briefs}
        people |= {each.signed_off.name for each in self.stages if each.signed_off}
        require_letters(
            {
                "farm": self.farm,
                "worker": self.worker,
                "crew": self.crew,
                "noted_by": " ".join(sorted(people)),
                "note": " ".join(line.note for line in self.trainings),
                "block": " ".join(quiz.block for quiz in self.quizzes),
            }
        )


def training_record_sheet(
    record: TrainingRecord, words: Words, *, page: Page = Page.LETTER
) -> Document:
    """
    Print a training record.

    Parameters
    ----------
    record : TrainingRecord
        What it says.
    words : Words
        The worker's language.
    page : Page, optional
        The paper.

    Returns
    -------
    Document
        Its pages; the same for the same input.
    """
    title = words.say(say("Training record: %(name)s", name=record.worker))
    foot = (title, record.farm)
    width = content_width(page)
    return paged(
        [record_parts(record, words, page)],
        lambda number, count: sheet_foot(foot, words, width, (number, count)),
        page=page,
        title=title,
        author=record.farm,
        language=words.language,
        gap_mm=_GAP_MM,
    )


def record_parts(record: TrainingRecord, words: Words, page: Page) -> list[Part]:
    """
    Set what stands on a training record.

    Parameters
    ----------
    record : TrainingRecord
        What it says.
    words : Words
        The worker's language.
    page : Page
        The paper.

    Returns
    -------
    list of Drawing or Block
        The parts, from top to bottom.
    """
    width = content_width(page)
    parts: list[Part] = [_head(record, words, width), *_stages(record.stages, words, width)]
    _add_table(parts, say("Trainings"), _trainings(record, words), words, page)
    _add_briefs(parts, record, words, page)
    if record.quizzes:
        _add_table(parts, say("Quizzes"), _quizzes(record, words), words, page)
    return [*parts, _end(record, words, width)]


def _end(record: TrainingRecord, words: Words, width_mm: float) -> Part:
    """Set practice and signatures together, so that no page has signatures alone."""
    signatures = _signatures(words, width_mm)
    if not record.practice:
        return signatures
    # One line a language and kind: it never needs more than a page.
    below = table_pieces(_practice(record, words), width_mm, math.inf, math.inf)
    if record.practised:
        below.append(paragraph([Run(_practised(record, words))], width_mm, TEXT_PT))
    title = words.say(say("Practice on drawn trees"))
    end = stacked([*below, signatures], width_mm, _GAP_MM, title)
    return under(section_heading(title, width_mm), end, _UNDER_MM)


def _add_briefs(parts: list[Part], record: TrainingRecord, words: Words, page: Page) -> None:
    title = say("Safety briefs")
    if record.briefs:
        _add_table(parts, title, _briefs(record, words), words, page)
        return
    width = content_width(page)
    none = paragraph([Run(words.say(say("No safety brief is noted.")))], width, TEXT_PT)
    parts.append(under(section_heading(words.say(title), width), none, _UNDER_MM))


def _add_table(parts: list[Part], title: Message, table: Table, words: Words, page: Page) -> None:
    """Put a table under its heading, in as many pieces as it needs pages."""
    width, room = content_width(page), content_height(page)
    heading = section_heading(words.say(title), width)
    above = heading.height_mm + _UNDER_MM
    left = room_left(parts, page, _GAP_MM) - above
    first, *others = table_pieces(table, width, left, room - above)
    parts += [under(heading, first, _UNDER_MM), *others]


_UNDER_MM: Final = 1.0


def _head(record: TrainingRecord, words: Words, width_mm: float) -> Block:
    title = words.say(say("Training record: %(name)s", name=record.worker))
    below = [Run(f"{name}.") for name in (record.farm, record.crew) if name]
    if record.started_on is not None:
        started = say("Here since %(day)s.", day=record.started_on)
        below.append(Run(words.say(started)))
    below.append(Run(words.say(say("As of %(day)s.", day=record.issued_on))))
    return sheet_head(title, [below], width_mm)


def _stages(stages: Sequence[LearnedStage], words: Words, width_mm: float) -> list[Part]:
    heading = section_heading(words.say(say("Stages learned")), width_mm)
    first, *others = [_stage(each, words, width_mm) for each in stages]
    return [under(heading, first, _UNDER_MM), *others]


def _stage(learned: LearnedStage, words: Words, width_mm: float) -> Drawing:
    name = words.say(STAGE_NAMES[learned.stage])
    left = _PICTOGRAM_MM + 5.0
    room = width_mm - left
    letters = [
        paragraph([Run(f"{name}:", bold=True), Run(words.say(_state(learned)))], room, HEADING_PT),
        *(
            paragraph([Run(said) for said in line], room, TEXT_PT)
            for line in _lines(learned, words)
        ),
    ]
    said = stacked(letters, room, 0.6)
    picture_mm = _SMALL_PICTOGRAM_MM if learned.begun_on is None else _PICTOGRAM_MM
    height = max(said.height_mm, picture_mm) + 1.0
    shapes = (
        stage_pictogram(learned.stage, name).at(
            (_PICTOGRAM_MM - picture_mm) / 2, 0.5, picture_mm / PICTOGRAM_MM
        ),
        said.at(left, max(0.0, (height - said.height_mm) / 2)),
    )
    return Drawing(width_mm, height, shapes, said.title or name)


def _state(learned: LearnedStage) -> Message:
    if learned.begun_on is None:
        return say("Not begun")
    return say("Being learned") if learned.signed_off is None else say("Signed off")


def _lines(learned: LearnedStage, words: Words) -> list[list[str]]:
    """Return what is said of a stage, one list a paragraph."""
    if learned.begun_on is None:
        return []
    begun = say("Begun on %(day)s by %(name)s.", day=learned.begun_on, name=learned.begun_by)
    behind = [] if learned.standard is None else [f"{words.say(learned.standard)}."]
    if learned.rule is not None:
        behind.append(words.say(rule_words(learned.rule)))
    paragraphs = [[words.say(begun), words.say(_outcome(learned))], behind]
    return [said for said in paragraphs if said]


def _outcome(learned: LearnedStage) -> Message:
    signed = learned.signed_off
    if signed is None:
        return say_n(
            "%(wrong)s of %(count)s due tree wrong so far.",
            "%(wrong)s of %(count)s due trees wrong so far.",
            learned.trees,
            wrong=learned.nonconforming,
        )
    return say(
        "Signed off on %(day)s by %(name)s: %(wrong)s of %(trees)s trees wrong.",
        day=signed.day,
        name=signed.name,
        wrong=signed.nonconforming,
        trees=signed.trees,
    )


def rule_words(rule: SignOffRule) -> Message:
    """
    Say when a stage is signed off, in one short sentence.

    Parameters
    ----------
    rule : SignOffRule
        What the standard says of signing off.

    Returns
    -------
    Message
        The sentence.
    """
    if rule.most_nonconforming == 0:
        return say("Rule: %(trees)s due trees in a row all right.", trees=rule.trees)
    return say(
        "Rule: at most %(wrong)s of %(trees)s due trees in a row wrong.",
        wrong=rule.most_nonconforming,
        trees=rule.trees,
    )


def _trainings(record: TrainingRecord, words: Words) -> Table:
    order = list(Stage)
    lines = sorted(record.trainings, key=lambda line: (order.index(line.stage), line.held_on))
    rows = [
        (
            words.say(STAGE_NAMES[line.stage]),
            words.show(line.held_on),
            words.say(TRAINING_KIND_NAMES[line.kind]),
            line.noted_by,
        )
        for line in lines
    ]
    heads = ((say("Stage"), 1.3), (say("Day"), 1.2), (say("How"), 2.2), (say("Noted by"), 2.2))
    columns = tuple(Column(words.say(head), share) for head, share in heads)
    blank = [("",) * len(columns)] * _BLANK_ROWS
    return Table(
        words.say(say("Trainings")),
        columns,
        [*rows, *blank],
        _TABLE_PT,
        least_row_mm=_BLANK_ROW_MM,
        below=[*(line.note for line in lines), *[""] * _BLANK_ROWS],
    )


def _briefs(record: TrainingRecord, words: Words) -> Table:
    rows = [
        (
            words.say(METHOD_NAMES[brief.method]),
            words.show(brief.held_on),
            words.show(brief.until),
            brief.language,
            brief.noted_by,
        )
        for brief in record.briefs
    ]
    heads = (
        (say("Method"), 1.3),
        (say("Held on"), 1.2),
        (say("Holds until"), 1.2),
        (say("Language"), 1.1),
        (say("Noted by"), 2.0),
    )
    return _table(say("Safety briefs"), heads, rows, words)


def _quizzes(record: TrainingRecord, words: Words) -> Table:
    rows = [
        (
            words.show(quiz.day),
            quiz.block,
            words.say(say("%(right)s of %(all)s", right=quiz.correct, all=quiz.questions)),
            "" if quiz.is_passed is None else words.say(_outcome_of_quiz(quiz)),
            quiz.language,
        )
        for quiz in record.quizzes
    ]
    heads = (
        (say("Day"), 1.2),
        (say("Block"), 2.0),
        (say("Right"), 1.0),
        (say("Outcome"), 1.4),
        (say("Language"), 1.1),
    )
    return _table(say("Quizzes"), heads, rows, words)


def _outcome_of_quiz(quiz: QuizLine) -> Message:
    return say("Passed") if quiz.is_passed else say("Not passed yet")


def _practice(record: TrainingRecord, words: Words) -> Table:
    rows = [
        (
            words.say(say("Trees pruned") if line.is_pruned else say("Trees judged")),
            words.show(line.trees),
            words.show(line.first),
            words.show(line.last),
            line.language,
        )
        for line in record.practice
    ]
    heads = (
        (say("What"), 1.3),
        (say("Trees"), 1.0),
        (say("First"), 1.3),
        (say("Last"), 1.3),
        (say("Language"), 1.1),
    )
    return _table(say("Practice on drawn trees"), heads, rows, words)


def _practised(record: TrainingRecord, words: Words) -> str:
    return " ".join(
        words.say(
            say(
                "%(stage)s: %(right)s of %(done)s right.",
                stage=say(STAGE_NAMES[stage]),
                right=right,
                done=done,
            )
        )
        for stage, right, done in record.practised
    )


def _table(
    title: Message,
    heads: Sequence[tuple[Message, float]],
    rows: Sequence[Sequence[str]],
    words: Words,
) -> Table:
    columns = tuple(Column(words.say(head), share) for head, share in heads)
    return Table(words.say(title), columns, rows, _TABLE_PT)


def _signatures(words: Words, width_mm: float) -> Drawing:
    own = say("This is the farm's own record. It stands for no training that the law asks for.")
    fields = [(words.say(say("Seen by the worker")), 1.4), (words.say(say("For the farm")), 1.2)]
    return stacked(
        [blank_fields(fields, width_mm), paragraph([Run(words.say(own))], width_mm, TEXT_PT)],
        width_mm,
        2.4,
        words.say(own),
    )
