"""Print batches as their pages show them."""

from dataclasses import dataclass
from datetime import datetime
from typing import Final

from flask_babel import format_date, gettext, ngettext

from audits.gauges import BATCH_STATE_NAMES, BatchState
from audits.messages import Rounded
from audits.services.printing import BatchView
from audits.storage.queries.printing import CheckLine
from audits.vocabulary import (
    BATCH_KIND_NAMES,
    CHECK_OCCASION_NAMES,
    METHOD_NAMES,
    STAGE_NAMES,
    TURNED_OVER_NAMES,
)
from printables.cards import CARD_FORMAT_NAMES, CARD_STYLE_NAMES, CardFormat
from printables.sheet import PAGE_NAMES
from webapp.forms import message_text
from webapp.printing.choices import BatchChoices, CardChoices, PaperChoice, read_choices
from webapp.reading import LANGUAGE_NAMES, words

# Shape and tone beside the words of a state.
_SHAPES: Final = {
    BatchState.UNCHECKED: ("waiting", "open"),
    BatchState.USABLE: ("right", "good"),
    BatchState.FAILED: ("fault", "bad"),
    BatchState.CHECK_AGAIN: ("back", "open"),
    BatchState.WITHDRAWN: ("barred", "idle"),
}


@dataclass(frozen=True)
class StateView:
    """A state in words, with its shape."""

    shape: str
    words: str
    tone: str


@dataclass(frozen=True)
class BatchLine:
    """A batch in the list."""

    number: int
    code: str
    kind: str
    what: str
    made_at: datetime
    state: StateView


@dataclass(frozen=True)
class CheckView:
    """A check in the history of a batch."""

    checked_at: datetime
    occasion: str
    card: StateView
    bars: str | None
    checker: str


@dataclass(frozen=True)
class BatchPage:
    """A batch with all that was chosen."""

    number: int
    name: str
    kind: str
    state: StateView
    is_withdrawn: bool
    frames_are_beside: bool
    particulars: list[tuple[str, str]]
    checks: list[CheckView]


def batch_lines(found: list[BatchView]) -> list[BatchLine]:
    """Return the batches as the list shows them."""
    return [
        BatchLine(
            number=view.number,
            code=f"B{view.number}",
            kind=_kind(view),
            what=_what(view),
            made_at=view.batch.made_at,
            state=_state(view),
        )
        for view in found
    ]


def batch_page(view: BatchView) -> BatchPage:
    """Return a batch as its page shows it."""
    choices = read_choices(view.batch.choices)
    return BatchPage(
        number=view.number,
        name=_name(view),
        kind=_kind(view),
        state=_state(view),
        is_withdrawn=view.batch.withdrawn_at is not None,
        frames_are_beside=_frames_are_beside(choices),
        particulars=_particulars(view, choices),
        checks=[_check(line) for line in view.checks],
    )


def _frames_are_beside(choices: BatchChoices) -> bool:
    """Tell whether the frames for a bank card stand on the sheet alone, and so are cut off."""
    return not isinstance(choices, CardChoices) or choices.card_format is CardFormat.ID_1


def _name(view: BatchView) -> str:
    return str(gettext("Batch B%(number)s", number=view.number))


def _kind(view: BatchView) -> str:
    return f"{message_text(BATCH_KIND_NAMES[view.batch.kind])}, {view.block}"


def _what(view: BatchView) -> str:
    """Tell what was chosen in few words, so that batches of one block differ in the list."""
    choices = read_choices(view.batch.choices)
    if not isinstance(choices, CardChoices):
        return _count(view, choices)
    size = message_text(CARD_FORMAT_NAMES[choices.card_format])
    return "; ".join((size, _shows(choices), _count(view, choices)))


def _state(view: BatchView) -> StateView:
    shape, tone = _SHAPES[view.state]
    return StateView(shape, message_text(BATCH_STATE_NAMES[view.state]), tone)


def _particulars(view: BatchView, choices: BatchChoices) -> list[tuple[str, str]]:
    kept = choices.subject
    lines = [
        (gettext("How many"), _count(view, choices)),
        (
            gettext("Standard"),
            gettext(
                "Version %(version)s, in force from %(day)s",
                version=view.version,
                day=format_date(kept.in_force_from, "medium"),
            ),
        ),
    ]
    if isinstance(choices, CardChoices):
        lines += [
            (gettext("Card"), message_text(CARD_FORMAT_NAMES[choices.card_format])),
            (gettext("What it shows"), _shows(choices)),
            (gettext("The crew works"), message_text(METHOD_NAMES[kept.method])),
        ]
    return [
        *lines,
        (gettext("Language"), _languages(choices)),
        (gettext("Paper"), message_text(PAGE_NAMES[choices.paper.page])),
        (gettext("Printer"), _printer(view.printer, choices.paper)),
        *_backs(choices),
        (gettext("Made"), _made(view)),
    ]


def _count(view: BatchView, choices: BatchChoices) -> str:
    if not isinstance(choices, CardChoices):
        return str(ngettext("%(num)s sheet", "%(num)s sheets", view.batch.copies))
    cards = ngettext("%(num)s card", "%(num)s cards", view.batch.copies)
    if not choices.people:
        return str(cards)
    people = ngettext("%(num)s person", "%(num)s people", len(choices.people))
    return str(gettext("%(cards)s with names, for %(people)s", cards=cards, people=people))


def _shows(choices: CardChoices) -> str:
    style = message_text(CARD_STYLE_NAMES[choices.style])
    return (
        style if choices.stage is None else f"{style}: {message_text(STAGE_NAMES[choices.stage])}"
    )


def _languages(choices: BatchChoices) -> str:
    return ", ".join(name for language, name in LANGUAGE_NAMES if language in choices.spoken)


def _printer(name: str | None, paper: PaperChoice) -> str:
    turned = message_text(TURNED_OVER_NAMES[paper.turned_over]).lower()
    return str(
        gettext(
            "%(printer)s, turned %(turned)s", printer=name or gettext("not listed"), turned=turned
        )
    )


def _backs(choices: BatchChoices) -> list[tuple[str, str]]:
    """Tell by how much the backs were moved then: a later correction changes no batch."""
    paper = choices.paper
    if not isinstance(choices, CardChoices):
        return []
    return [(gettext("Backs"), correction_words(paper.back_right_mm, paper.back_down_mm))]


def correction_words(right_mm: float, down_mm: float) -> str:
    """Return how far backs are moved, as the test page says it."""
    if not right_mm and not down_mm:
        return str(gettext("not moved"))
    return str(
        gettext(
            "%(right)s mm to the right, %(down)s mm downwards",
            right=words().show(Rounded(right_mm)),
            down=words().show(Rounded(down_mm)),
        )
    )


def _made(view: BatchView) -> str:
    day = format_date(view.batch.made_at, "medium")
    if view.maker is None:
        return str(gettext("%(day)s, from the command line", day=day))
    return f"{day}, {view.maker}"


def _check(line: CheckLine) -> CheckView:
    check = line.check
    fits = gettext("A bank card fits") if check.card_fits else gettext("A bank card does not fit")
    passed = gettext("passed") if check.passed else gettext("not passed")
    bars = []
    if check.across_mm is not None:
        bars.append(gettext("lying %(mm)s mm", mm=words().show(Rounded(check.across_mm))))
    if check.down_mm is not None:
        bars.append(gettext("standing %(mm)s mm", mm=words().show(Rounded(check.down_mm))))
    return CheckView(
        checked_at=check.checked_at,
        occasion=message_text(CHECK_OCCASION_NAMES[check.occasion]),
        card=StateView(
            "right" if check.passed else "fault",
            f"{fits}; {passed}",
            "good" if check.passed else "bad",
        ),
        bars="; ".join(bars) or None,
        checker=line.checker,
    )
