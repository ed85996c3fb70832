"""The safety brief for a crew: the notes for its method, where help comes to, and who was there."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Final

from audits.messages import Message, Words, say
from audits.safety import (
    AUTHORITY_SENTENCES,
    SIGNAL_WORD_NAMES,
    TOPIC_NAMES,
    SafetyNote,
    SignalWord,
    Topic,
    emergency_words,
    safety_brief,
)
from audits.vocabulary import METHOD_NAMES, Method
from printables.blanks import LINE_MM, TICK_MM, blank_fields
from printables.document import Document
from printables.drawing.inks import Ink
from printables.drawing.lettering import text_width
from printables.drawing.primitives import Anchor, Drawing, Line, Rect, Shape, Text
from printables.flow import Part, content_height, content_width, paged, room_left, under
from printables.fonts import require_letters
from printables.paragraphs import POINT_MM, Run, paragraph, stacked
from printables.sheet import Page
from printables.sheet_frame import (
    HEADING_PT,
    SMALL_PT,
    TEXT_PT,
    section_heading,
    sheet_foot,
    sheet_head,
)

# Lines for people whose names are not printed: a crew's newcomers, or a crew that is not chosen.
BLANK_LINES: Final = 12
NEWCOMERS: Final = 3

READ_OUT: Final = say("Read it out before the work begins.")
AGREED: Final[tuple[Message, ...]] = (
    say("I heard this brief in a language that I understand."),
    say("I could ask what I wanted to know."),
)

_FRAME_MM: Final = 3.2
_GAP_MM: Final = 1.3
_ABOVE_MM: Final = 1.4
_TAG_GAP_MM: Final = 4.0
_TAG_PAD_MM: Final = 1.4


@dataclass(frozen=True)
class SafetyBrief:
    """
    A safety brief, ready to be printed.

    Parameters
    ----------
    farm : str
        Its name.
    method : Method
        From where the crew works; it chooses the notes.
    block : str, optional
        The block; empty where the brief holds for all of them.
    emergency_location : str, optional
        Where help finds the crew; empty if nobody wrote it down.
    first_aider : str, optional
        Who gives first aid; empty if nobody wrote it down.
    crew : str, optional
        The crew; empty if none was chosen.
    names : tuple of str, optional
        Names of its people, as they stand on the lines.
    blank_lines : int, optional
        Lines without a name.

    Raises
    ------
    InvalidInput
        If a name has letters that the printed font lacks.
    """

    farm: str
    method: Method
    block: str = ""
    emergency_location: str = ""
    first_aider: str = ""
    crew: str = ""
    names: tuple[str, ...] = ()
    blank_lines: int = BLANK_LINES

    def __post_init__(self) -> None:
        require_letters(
            {
                "farm": self.farm,
                "block": self.block,
                "emergency_location": self.emergency_location,
                "first_aider": self.first_aider,
                "crew": self.crew,
                "worker": " ".join(self.names),
            }
        )


def safety_brief_sheet(brief: SafetyBrief, words: Words, *, page: Page = Page.LETTER) -> Document:
    """
    Print a safety brief: what is said first, then the lines on which people sign.

    Parameters
    ----------
    brief : SafetyBrief
        What it is for.
    words : Words
        The reader's language and units.
    page : Page, optional
        The paper.

    Returns
    -------
    Document
        Its pages; the same for the same input.
    """
    title = words.say(say("Safety brief: %(method)s", method=say(METHOD_NAMES[brief.method])))
    foot = (title, brief.farm)
    width = content_width(page)
    return paged(
        [brief_parts(brief, words, page)],
        lambda number, count: sheet_foot(foot, words, width, (number, count)),
        page=page,
        title=title,
        author=brief.farm,
        language=words.language,
        gap_mm=_GAP_MM,
    )


def brief_parts(brief: SafetyBrief, words: Words, page: Page) -> list[Part]:
    """
    Set what is said to the crew, and the lines on which people sign.

    Parameters
    ----------
    brief : SafetyBrief
        What it is for.
    words : Words
        The reader's language and units.
    page : Page
        The paper.

    Returns
    -------
    list of Drawing or Block
        The parts, from top to bottom.
    """
    width_mm = content_width(page)
    title = words.say(say("Safety brief: %(method)s", method=say(METHOD_NAMES[brief.method])))
    below = [Run(f"{name}.") for name in (brief.farm, brief.block, brief.crew) if name]
    below.append(Run(words.say(READ_OUT)))
    parts: list[Part] = [sheet_head(title, [below], width_mm), _help(brief, words, width_mm)]
    notes = safety_brief(brief.method)
    for topic, group in groupby(notes, key=lambda note: note.topic):
        parts += _topic(topic, list(group), words, width_mm)
    parts.append(_last_word(notes, words, width_mm))
    return [*parts, *_signatures(brief, words, page, parts)]


def _help(brief: SafetyBrief, words: Words, width_mm: float) -> Drawing:
    inner = width_mm - 2 * _FRAME_MM
    said = emergency_words(brief.emergency_location, brief.first_aider)
    heading = words.say(say("If somebody is hurt"))
    letters = stacked(
        [
            paragraph([Run(heading, bold=True)], inner, HEADING_PT),
            *(paragraph([Run(words.say(each))], inner, TEXT_PT) for each in said),
        ],
        inner,
        0.8,
    )
    height = letters.height_mm + 2 * _FRAME_MM
    shapes = (
        Rect(0.4, 0.4, width_mm - 0.8, height - 0.8, Ink.HEAVY_LINE),
        letters.at(_FRAME_MM, _FRAME_MM),
    )
    return Drawing(width_mm, height, shapes, heading)


def _topic(
    topic: Topic, notes: Sequence[SafetyNote], words: Words, width_mm: float
) -> Iterator[Part]:
    """Set the notes of a topic; its heading stays with the first of them."""
    tag_mm = widest_tag(words)
    drawn = [_note(note, words, width_mm, tag_mm) for note in notes]
    heading = _apart(section_heading(words.say(TOPIC_NAMES[topic]), width_mm))
    yield under(heading, drawn[0], _GAP_MM)
    yield from drawn[1:]


def _apart(heading: Drawing) -> Drawing:
    """Leave more room above a heading than notes have between them."""
    return Drawing(
        heading.width_mm,
        heading.height_mm + _ABOVE_MM,
        (heading.at(0.0, _ABOVE_MM),),
        heading.title,
    )


def widest_tag(words: Words) -> float:
    """
    Measure the widest signal word with its frame, so that all notes begin in one line.

    Parameters
    ----------
    words : Words
        The reader's language.

    Returns
    -------
    float
        Width in mm.
    """
    size = TEXT_PT * POINT_MM
    names = (words.say(SIGNAL_WORD_NAMES[signal]) for signal in SignalWord)
    return max(text_width(name, size, bold=True) for name in names) + 2 * _TAG_PAD_MM


def _note(note: SafetyNote, words: Words, width_mm: float, tag_mm: float) -> Drawing:
    left = tag_mm + _TAG_GAP_MM
    room = width_mm - left
    letters = [paragraph([Run(words.say(note.text))], room, TEXT_PT)]
    if note.source is not None:
        source = words.say(say("Source of the figure: %(source)s", source=note.source))
        letters.append(paragraph([Run(source, ink=Ink.SOFT)], room, SMALL_PT))
    said = stacked(letters, room, 0.8)
    shapes: list[Shape] = []
    if note.signal is not None:
        # First, so that it is read out before what it warns of.
        shapes += _tag(words.say(SIGNAL_WORD_NAMES[note.signal]), note.signal, tag_mm)
    shapes.append(said.at(left, 0.4))
    return Drawing(width_mm, max(said.height_mm + 0.4, _TAG_HEIGHT_MM), tuple(shapes), said.title)


_TAG_HEIGHT_MM: Final = 6.0


def _tag(name: str, signal: SignalWord, tag_mm: float) -> Iterator[Shape]:
    """Frame a signal word; the gravest is white on black, so that grey print tells them apart."""
    size = TEXT_PT * POINT_MM
    grave = signal is SignalWord.DANGER
    yield Rect(0.2, 0.2, tag_mm - 0.4, _TAG_HEIGHT_MM - 0.4, Ink.SOLID if grave else Ink.FRAME, 0.8)
    baseline = _TAG_HEIGHT_MM / 2 + 0.365 * size
    ink = Ink.PAPER if grave else Ink.SOLID
    yield Text(tag_mm / 2, baseline, name, size, ink, Anchor.MIDDLE, bold=True)


def _last_word(notes: Sequence[SafetyNote], words: Words, width_mm: float) -> Drawing:
    """Say once who has the last word, for every kind that the notes name."""
    sentences = dict.fromkeys(AUTHORITY_SENTENCES[note.authority] for note in notes)
    heading = words.say(say("Who has the last word"))
    said = paragraph([Run(words.say(sentence)) for sentence in sentences], width_mm, TEXT_PT)
    return stacked([_apart(section_heading(heading, width_mm)), said], width_mm, 1.0, heading)


def _signatures(brief: SafetyBrief, words: Words, page: Page, before: Sequence[Part]) -> list[Part]:
    """
    Set the lines on which people sign that they heard the brief.

    They begin below what is said where all of them fit there, else on a page of their own.
    """
    width = content_width(page)
    heading = words.say(say("Who was there"))
    top = stacked(
        [
            _apart(section_heading(heading, width)),
            blank_fields([(words.say(say("Date")), 1.0), (words.say(say("Given by")), 1.6)], width),
            _language_line(words, width),
            paragraph([Run(words.say(said)) for said in AGREED], width, TEXT_PT),
        ],
        width,
        2.0,
        heading,
    )
    head = _signature_head(words, width)
    room, pitch_mm = _room_and_pitch(brief, words, page, before, top.height_mm + head.height_mm)
    lines = _signature_lines(brief, words, width, pitch_mm)
    groups: list[list[Drawing]] = [[top, head]]
    left = room - top.height_mm - head.height_mm
    for line in lines:
        if line.height_mm > left:
            groups.append([head])
            left = content_height(page) - head.height_mm
        groups[-1].append(line)
        left -= line.height_mm
    return [stacked(group, width, 0.0, heading) for group in groups]


def _room_and_pitch(
    brief: SafetyBrief, words: Words, page: Page, before: Sequence[Part], head_mm: float
) -> tuple[float, float]:
    """Choose the page on which the lines begin and how far apart they are, so that all fit."""
    whole = content_height(page)
    for room in (room_left(before, page, _GAP_MM), whole):
        for pitch_mm in _PITCHES_MM:
            lines = _signature_lines(brief, words, content_width(page), pitch_mm)
            if head_mm + sum(line.height_mm for line in lines) <= room:
                return room, pitch_mm
    return whole, _PITCHES_MM[0]


# Room for a signature: closer where that spares a page.
_PITCHES_MM: Final = (LINE_MM, 9.2, 8.4)


def _language_line(words: Words, width_mm: float) -> Drawing:
    """Offer the languages in which the brief may have been given; another one is written."""
    size = TEXT_PT * POINT_MM
    label = words.say(say("Language"))
    baseline = LINE_MM - 1.8
    shapes: list[Shape] = [Text(0.0, baseline, label, size, bold=True)]
    left = text_width(label, size, bold=True) + 5.0
    # A language goes by its own name, so that its readers find it.
    for name in ("English", "Espa\u00f1ol", words.say(say("Other"))):
        shapes += [
            Rect(left, baseline - TICK_MM + 0.6, TICK_MM, TICK_MM, Ink.FRAME, 0.6),
            Text(left + TICK_MM + 2.0, baseline, name, size),
        ]
        left += TICK_MM + 2.0 + text_width(name, size) + 7.0
    shapes.append(Line((left - 4.0, baseline + 0.8), (width_mm, baseline + 0.8), Ink.FINE_LINE))
    return Drawing(width_mm, LINE_MM, tuple(shapes), label)


_NUMBER_MM: Final = 10.0
_NAME_PART: Final = 0.48


def _signature_head(words: Words, width_mm: float) -> Drawing:
    size = TEXT_PT * POINT_MM
    name, signature = words.say(say("Name")), words.say(say("Signature"))
    top = 1.6 * size
    shapes = (
        Text(_NUMBER_MM, top, name, size, bold=True),
        Text(_NAME_PART * width_mm + 4.0, top, signature, size, bold=True),
        Line((0.0, top + 0.6 * size), (width_mm, top + 0.6 * size), Ink.LINE),
    )
    return Drawing(width_mm, top + 0.6 * size, shapes, f"{name}, {signature}")


def _signature_lines(
    brief: SafetyBrief, words: Words, width_mm: float, pitch_mm: float
) -> list[Drawing]:
    names = (*brief.names, *[""] * brief.blank_lines)
    return [
        _signature_line(place, name, words, (width_mm, pitch_mm))
        for place, name in enumerate(names, 1)
    ]


def _signature_line(place: int, name: str, words: Words, size_mm: tuple[float, float]) -> Drawing:
    width_mm, pitch_mm = size_mm
    size = TEXT_PT * POINT_MM
    split = _NAME_PART * width_mm
    said = paragraph([Run(name)], split - _NUMBER_MM - 2.0, TEXT_PT)
    height = max(pitch_mm, said.height_mm + 3.0)
    shapes: tuple[Shape, ...] = (
        Text(_NUMBER_MM - 3.0, height - 2.0, words.show(place), size, anchor=Anchor.END),
        said.at(_NUMBER_MM, height - said.height_mm - 0.8),
        Line((_NUMBER_MM, height - 0.4), (split, height - 0.4), Ink.FINE_LINE),
        Line((split + 4.0, height - 0.4), (width_mm, height - 0.4), Ink.FINE_LINE),
    )
    return Drawing(width_mm, height, shapes, f"{place} {name}".strip())
