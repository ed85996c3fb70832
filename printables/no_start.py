"""Who may not start with ladders or a platform: no safety brief of theirs is in force."""

from dataclasses import dataclass
from datetime import date
from typing import Final

from audits.messages import Message, Words, say
from audits.vocabulary import METHOD_NAMES, Method
from printables.document import Document
from printables.flow import Part, content_height, content_width, paged, room_left
from printables.fonts import require_letters
from printables.paragraphs import Run, paragraph
from printables.sheet import Page
from printables.sheet_frame import TEXT_PT, sheet_foot, sheet_head
from printables.table import Column, Table, table_pieces

NO_LAW: Final[tuple[Message, ...]] = (
    say("This is the farm's own record of its safety briefs."),
    say("It does not say what the law allows."),
    say("The rules of the employer and of the law on training, licenses and age come first."),
    say("A competent person decides."),
)

_GAP_MM: Final = 3.0
_TABLE_PT: Final = 11.0
# A day and initials are written beside each name.
_ROW_MM: Final = 10.0


@dataclass(frozen=True)
class NoStartLine:
    """
    Somebody who may not start.

    Parameters
    ----------
    name : str
        Who.
    crew : str
        The crew; empty where there is none.
    language : str
        Name of the language in which the brief is to be given, in that language.
    lapsed_after : date or None
        The last day on which a brief held; None where none was ever noted.
    """

    name: str
    crew: str
    language: str
    lapsed_after: date | None


@dataclass(frozen=True)
class NoStart:
    """
    The list of who may not start, ready to be printed.

    Parameters
    ----------
    farm : str
        Its name.
    method : Method
        From where they would work.
    day : date
        The day of the list.
    people : int
        How many people were looked at.
    lines : tuple of NoStartLine
        Those without a brief in force, by name.
    crew : str, optional
        The crew that was looked at; empty for everybody.

    Raises
    ------
    InvalidInput
        If a name has letters that the printed font lacks.
    """

    farm: str
    method: Method
    day: date
    people: int
    lines: tuple[NoStartLine, ...]
    crew: str = ""

    def __post_init__(self) -> None:
        require_letters(
            {
                "farm": self.farm,
                "crew": " ".join([self.crew, *(line.crew for line in self.lines)]),
                "worker": " ".join(line.name for line in self.lines),
            }
        )


def no_start_sheet(sheet: NoStart, words: Words, *, page: Page = Page.LETTER) -> Document:
    """
    Print who may not start.

    Parameters
    ----------
    sheet : NoStart
        What it says.
    words : Words
        The reader's language.
    page : Page, optional
        The paper.

    Returns
    -------
    Document
        Its pages; the same for the same input.
    """
    title = words.say(say("Who may not start: %(method)s", method=say(METHOD_NAMES[sheet.method])))
    width = content_width(page)
    foot = (title, sheet.farm, words.show(sheet.day))
    return paged(
        [_parts(sheet, title, words, page)],
        lambda number, count: sheet_foot(foot, words, width, (number, count)),
        page=page,
        title=title,
        author=sheet.farm,
        language=words.language,
        gap_mm=_GAP_MM,
    )


def _parts(sheet: NoStart, title: str, words: Words, page: Page) -> list[Part]:
    width = content_width(page)
    below = [Run(f"{name}.") for name in (sheet.farm, sheet.crew) if name]
    below.append(Run(words.say(say("As of %(day)s.", day=sheet.day))))
    counted = [Run(words.say(_counted(sheet)), bold=True)]
    parts: list[Part] = [sheet_head(title, [below, counted], width)]
    if sheet.lines:
        room = content_height(page)
        left = room_left(parts, page, _GAP_MM)
        parts += table_pieces(_table(sheet, words), width, left, room)
    parts.append(paragraph([Run(words.say(sentence)) for sentence in NO_LAW], width, TEXT_PT))
    return parts


def _counted(sheet: NoStart) -> Message:
    if not sheet.lines:
        return say("Everybody has a brief that holds: nobody is on this list.")
    return say(
        "%(barred)s of %(people)s have no brief that holds. Brief them before they start.",
        barred=len(sheet.lines),
        people=sheet.people,
    )


def _table(sheet: NoStart, words: Words) -> Table:
    heads = (
        (say("Name"), 2.9),
        (say("Crew"), 1.3),
        (say("Language"), 1.0),
        (say("Last brief"), 2.0),
        (say("Briefed on, by"), 1.9),
    )
    columns = tuple(Column(words.say(head), share) for head, share in heads)
    rows = [
        (line.name, line.crew, line.language, words.say(_last(line)), "") for line in sheet.lines
    ]
    return Table(
        words.say(say("Who may not start")), columns, rows, _TABLE_PT, least_row_mm=_ROW_MM
    )


def _last(line: NoStartLine) -> Message:
    if line.lapsed_after is None:
        return say("None noted")
    return say("Until %(day)s", day=line.lapsed_after)
