"""The back of a card: gauges on its upper edge, the check of the scale, safety, and the code."""

from typing import Final

from audits.card_words import gauge_use, help_words, local_rules, scale_question
from audits.errors import InvalidInput
from audits.messages import Message, Words, say
from audits.plain_words import Band
from audits.safety import SIGNAL_WORD_NAMES, SafetyNote, card_notes
from audits.units import Length, LengthKind
from printables.cards.fitting import fitted, unbroken_size
from printables.cards.heading import MARGIN_MM
from printables.cards.request import CardFormat, CardRequest
from printables.drawing.gauge import (
    INNER_FRAME_MM,
    GaugeLabels,
    card_frames,
    length_bar,
    limb_gauge,
    pencil_gauge,
)
from printables.drawing.inks import Ink
from printables.drawing.primitives import Anchor, Cells, Drawing, Line, Shape, Text
from printables.drawing.qr import qr_drawing
from printables.paragraphs import POINT_MM, Run

_BAR_MM: Final = 50.0
_BAR_HIGH_MM: Final = 3.0
_LABEL_PT: Final = 9.0
_SAFETY_PT: Final = 12.0
# A phone held at a hand's breadth reads cells of a third of a millimetre (common practice).
_LEAST_CELL_MM: Final = 0.33
_CODE_MM: Final = 20.0
_SMALL_CODE_MM: Final = 18.0
# Between the gauges' figures and the outer frame.
_FRAMES_BELOW_MM: Final = 0.6
_INSIDE_MM: Final = 1.5


def card_back(request: CardRequest, words: Words) -> Drawing:
    """
    Draw the back of a card.

    Parameters
    ----------
    request : CardRequest
        The card.
    words : Words
        The reader's language and units.

    Returns
    -------
    Drawing
        True to size at scale 1; its description has the gauges and the safety notes.

    Raises
    ------
    InvalidInput
        If what must be said does not fit on the card, or if the address makes a code too fine.
    """
    shapes = _small(request, words) if _is_small(request) else _framed(request, words)
    notes = _notes(request)
    described = " ".join(
        words.say(part)
        for part in (
            _pencil_use(),
            _limb_use(),
            *(note.short for note in notes),
            local_rules(brief=False),
            *_help(request),
            *_identity(request),
        )
    )
    return Drawing(*request.size_mm, shapes, words.say(say("Gauges and safety")), described)


def _is_small(request: CardRequest) -> bool:
    return request.card_format is CardFormat.ID_1


def _small(request: CardRequest, words: Words) -> tuple[Shape, ...]:
    """Lay the back out without frames: a card of this size is checked on its sheet."""
    width, height = request.size_mm
    inner = width - 2 * MARGIN_MM
    gauges, left_over = _gauges(request, words, width - MARGIN_MM)
    bar_top = gauges.height_mm + 0.4
    text_top = bar_top + _BAR_HIGH_MM + 1.2
    code = _code(request, words, _SMALL_CODE_MM)
    room = inner - (_SMALL_CODE_MM if code else 0.0)
    foot = _identity_lines(request, words, (room, height))
    foot_top = height - MARGIN_MM - foot.height_mm
    letters = _safety(request, words, (room, foot_top - 1.4 - text_top), left_over)
    return (
        *gauges.shapes,
        *_lying_bar(MARGIN_MM, bar_top, words),
        *_placed(
            code, width - MARGIN_MM - _SMALL_CODE_MM, height - MARGIN_MM - _SMALL_CODE_MM + 1.0
        ),
        letters.at(MARGIN_MM, text_top),
        Line((MARGIN_MM, foot_top - 0.6), (MARGIN_MM + room, foot_top - 0.6), Ink.HAIRLINE),
        foot.at(MARGIN_MM, foot_top),
    )


def _framed(request: CardRequest, words: Words) -> tuple[Shape, ...]:
    """Lay the back out within the frames for a bank card, a bar beside them."""
    width, height = request.size_mm
    gauges, left_over = _gauges(request, words, width - MARGIN_MM)
    frames = card_frames(words.say(say("Scale check")), upright=True)
    frames_left = width - MARGIN_MM - frames.width_mm + 0.8
    frames_top = gauges.height_mm - 0.8 + _FRAMES_BELOW_MM
    around_mm = (frames.width_mm - INNER_FRAME_MM[1]) / 2 + _INSIDE_MM
    left = frames_left + around_mm
    room_width = frames.width_mm - 2 * around_mm
    top, bottom = frames_top + around_mm, frames_top + frames.height_mm - around_mm
    below = height - (frames_top + frames.height_mm)
    is_below = below >= _CODE_MM + MARGIN_MM - 1.0
    if is_below:
        foot = _code_and_identity(request, words, width - 2 * MARGIN_MM)
        foot_place = (MARGIN_MM, height - MARGIN_MM - foot.height_mm)
    else:
        foot = _code_and_identity(request, words, room_width)
        foot_place = (left, bottom - foot.height_mm)
        bottom = foot_place[1] - 1.0
    letters = _safety(request, words, (room_width, bottom - top), left_over)
    return (
        *gauges.shapes,
        frames.at(frames_left, frames_top),
        *_upright_bar(frames_left, frames_top, words),
        letters.at(left, top),
        foot.at(*foot_place),
    )


def _placed(drawing: Drawing | None, left_mm: float, top_mm: float) -> tuple[Shape, ...]:
    return () if drawing is None else (drawing.at(left_mm, top_mm),)


def _lying_bar(left_mm: float, top_mm: float, words: Words) -> tuple[Shape, ...]:
    bar = length_bar(_BAR_MM, words.say(say("Bar of 50 mm")), "")
    label = Text(
        left_mm + _BAR_MM + 1.6, top_mm + _BAR_HIGH_MM - 0.3, "50 mm", _LABEL_PT * POINT_MM
    )
    return (bar.at(left_mm, top_mm), label)


def _upright_bar(frames_left_mm: float, frames_top_mm: float, words: Words) -> tuple[Shape, ...]:
    """Stand the bar in the strip left of the frames, its length below it."""
    bar = length_bar(_BAR_MM, words.say(say("Bar of 50 mm")), "", upright=True)
    left, top = (MARGIN_MM + frames_left_mm - _BAR_HIGH_MM) / 2, frames_top_mm + 4.0
    size_mm = _LABEL_PT * POINT_MM
    return (
        bar.at(left, top),
        Text(left + _BAR_HIGH_MM / 2, top + _BAR_MM + 3.8, "50 mm", size_mm, anchor=Anchor.MIDDLE),
    )


# --- gauges


def _pencil_use() -> Message:
    return say("Lay the wood at the stop. Its other side must end in the band.")


def _limb_use() -> Message:
    return say("Lay the limb at the stop. If it reaches the block, it is large.")


def _gauges(request: CardRequest, words: Words, right_mm: float) -> tuple[Drawing, list[Run]]:
    """Put both gauges on the upper edge and how to hold them beside them, or hand that back."""
    heading, limbs = request.standard.heading, request.standard.limbs
    pencil = pencil_gauge(
        heading.thinnest_mm,
        heading.thickest_mm,
        GaugeLabels(
            words.say(say("Pencil gauge")),
            words.say(_pencil_use()),
            words.show(Band(heading.thinnest_mm, heading.thickest_mm)),
        ),
    )
    limb = limb_gauge(
        limbs.large_mm,
        GaugeLabels(
            words.say(say("Limb gauge")),
            words.say(_limb_use()),
            words.show(Length(limbs.large_mm, LengthKind.DIAMETER)),
        ),
    )
    height = max(pencil.height_mm, limb.height_mm)
    limb_left = 1.0 + pencil.width_mm + 1.5
    beside = limb_left + limb.width_mm + 1.0
    use = words.say(gauge_use(brief=_is_small(request)))
    shapes: list[Shape] = [pencil.at(1.0, 0.0), limb.at(limb_left, 0.0)]
    left_over = [Run(use)]
    room = right_mm - beside
    if room > 0 and unbroken_size(use, room, _LABEL_PT) >= _LABEL_PT:
        hint = fitted([[Run(use)]], (room, height - 1.4), (_LABEL_PT, _LABEL_PT))
        if hint is not None:
            shapes.append(hint.at(beside, 1.4))
            left_over = []
    return Drawing(request.size_mm[0], height, tuple(shapes), ""), left_over


# --- words


_LEAST_NOTES: Final = 2


def _notes(request: CardRequest) -> tuple[SafetyNote, ...]:
    notes = card_notes(request.subject.method)
    return notes[:_LEAST_NOTES] if _is_small(request) else notes


def _help(request: CardRequest) -> tuple[Message, ...]:
    """List where help comes to, and who gives it; 25 words leave no room for it."""
    if _is_small(request):
        return ()
    return help_words(request.subject.emergency_location, request.subject.first_aider)


def _safety(
    request: CardRequest, words: Words, room_mm: tuple[float, float], left_over: list[Run]
) -> Drawing:
    """
    Say what keeps people whole, as large as there is room for.

    Raises
    ------
    InvalidInput
        If it does not fit.
    """
    small = _is_small(request)
    width, height = room_mm
    sizes = (_SAFETY_PT, _LABEL_PT)
    above = [] if small else [[Run(words.say(scale_question()), ink=Ink.SOFT)]]
    above += [left_over] if left_over else []
    check = fitted(above, room_mm, (_LABEL_PT, _LABEL_PT), 0.4)
    top = 0.0 if check is None or not above else check.height_mm + 1.2
    room = (width, height - top)
    rules = [Run(words.say(local_rules(brief=small)))]
    last = [[Run(words.say(line), bold=True)] for line in _help(request)]
    notes = [_note_runs(note, words) for note in _notes(request)]
    for count in range(len(notes), _LEAST_NOTES - 1, -1):
        drawing = fitted([*notes[:count], rules, *last], room, sizes)
        if drawing is not None:
            return Drawing(width, height, (*_placed(check, 0.0, 0.0), drawing.at(0.0, top)), "")
    if last and fitted([*notes[:_LEAST_NOTES], rules], room, sizes) is not None:
        problem = say("What is written about help is too long for the card. Shorten it.")
        raise InvalidInput({"emergency_location": problem})
    raise InvalidInput({"block": say("There is more to say than the card has room for.")})


def _note_runs(note: SafetyNote, words: Words) -> list[Run]:
    runs = [Run(words.say(note.short))]
    if note.signal is not None:
        runs.insert(0, Run(words.say(SIGNAL_WORD_NAMES[note.signal]), bold=True))
    return runs


# --- which card this is


def _identity(request: CardRequest) -> list[Message]:
    lines = [request.subject.version_words()]
    batch, day = f"B{request.batch}", request.printed_on
    if request.batch is not None and day is not None:
        lines.append(say("%(batch)s, printed %(day)s", batch=batch, day=day))
    elif request.batch is not None:
        lines.append(say("Batch %(batch)s", batch=batch))
    elif day is not None:
        lines.append(say("Printed %(day)s", day=day))
    return lines


def _code(request: CardRequest, words: Words, size_mm: float) -> Drawing | None:
    """
    Draw the code that leads to the block's page.

    Raises
    ------
    InvalidInput
        If the address is so long that the cells are too fine to be read.
    """
    if not request.address:
        return None
    code = qr_drawing(
        request.address, size_mm, words.say(say("Page of the block")), request.address
    )
    (cells,) = code.shapes
    if isinstance(cells, Cells) and cells.cell_mm < _LEAST_CELL_MM:
        raise InvalidInput(
            {
                "address": say(
                    "The address %(address)s is too long for the code on the card.",
                    address=request.address,
                )
            }
        )
    return code


def _code_and_identity(request: CardRequest, words: Words, width_mm: float) -> Drawing:
    """Set the code beside the version, the batch and the day."""
    code = _code(request, words, _CODE_MM)
    # The quiet zone is room enough between the code and the words.
    left = _CODE_MM if code else 0.0
    letters = _identity_lines(request, words, (width_mm - left, _CODE_MM))
    height = max(letters.height_mm, _CODE_MM if code else 0.0)
    top = (height - letters.height_mm) / 2
    return Drawing(
        width_mm, height, (*_placed(code, 0.0, 0.0), letters.at(left, top)), letters.title
    )


def _identity_lines(request: CardRequest, words: Words, room_mm: tuple[float, float]) -> Drawing:
    """
    Say which card this is.

    Raises
    ------
    InvalidInput
        If there is no room for it.
    """
    lines = [[Run(words.say(line), ink=Ink.SOFT)] for line in _identity(request)]
    letters = fitted(lines, room_mm, (_LABEL_PT, _LABEL_PT), 0.4)
    if letters is None:
        raise InvalidInput({"block": say("There is more to say than the card has room for.")})
    return letters
