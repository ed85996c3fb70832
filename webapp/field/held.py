"""What was held back: both versions side by side, and the decision of a crew lead."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import groupby
from typing import Any, Final

from flask import flash, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue
from flask_babel import gettext, lazy_gettext, ngettext
from wtforms import TextAreaField

from audits.errors import Conflict, InvalidInput, NotFound
from audits.messages import say
from audits.phone_items import ItemKind, PhoneItem, Unreadable, reread
from audits.services.held import (
    HeldItem,
    list_held,
    set_aside_held,
    take_held,
    take_several_held,
)
from audits.vocabulary import (
    HELD_BECAUSE_NAMES,
    OUTCOME_NAMES,
    PLANTING_KIND_NAMES,
    STAGE_NAMES,
    HeldBecause,
    Outcome,
    Stage,
)
from webapp.access import CREW_LEADS, actor, open_to
from webapp.auditing.answer_words import answer_lines
from webapp.auditing.places import place_words
from webapp.extensions import database, present
from webapp.field.blueprint import blueprint
from webapp.forms import BaseForm, message_text
from webapp.reading import words

# Nine digits are within what a database numbers.
_MOST_DIGITS: Final = 9
# What somebody reads at a glance; the rest of something unreadable says no more.
_LONGEST_RAW: Final = 2_000
_TAKE: Final = "take"


class DecisionForm(BaseForm):
    """Why something is taken, or set aside."""

    reason = TextAreaField(lazy_gettext("Why?"), render_kw={"rows": 2})


@dataclass(frozen=True)
class HeldLine:
    """Something held back, in a list."""

    id: int
    url: str
    title: str
    because: str
    received_at: datetime
    can_be_taken: bool


@dataclass(frozen=True)
class HeldGroup:
    """What one phone sent."""

    phone: str
    lines: Sequence[HeldLine]

    @property
    def takeable(self) -> list[int]:
        """Ids of what can be taken."""
        return [line.id for line in self.lines if line.can_be_taken]


@dataclass(frozen=True)
class Version:
    """One of two versions: a sentence, and stage by stage what it says."""

    sentence: str
    lines: Sequence[tuple[str, str]] = ()
    raw: str = ""


@blueprint.get("/held-back")
@open_to(CREW_LEADS)
def held() -> ResponseReturnValue:
    """List what phones sent and nobody has decided on yet."""
    found = sorted(list_held(database(), actor()), key=lambda item: item.receipt.device_id or 0)
    return render_template(
        "field/held.html",
        groups=[
            HeldGroup(phone, [_line(item) for item in items])
            for phone, items in groupby(found, key=_phone)
        ],
    )


@blueprint.post("/held-back/take")
@open_to(CREW_LEADS)
def take_several() -> ResponseReturnValue:
    """Take several things at once, in the order in which they were entered."""
    form = DecisionForm()
    ids = {int(text) for text in request.form.getlist("id") if _is_id(text)}
    problems = take_several_held(database(), actor(), ids, form.reason.data or "", present())
    for message in dict.fromkeys(map(message_text, problems.values())):
        flash(message, "problem")
    taken = len(ids) - len(problems)
    if taken:
        flash(ngettext("%(num)s entry is taken.", "%(num)s entries are taken.", taken), "message")
    return redirect(url_for("field.held"))


@blueprint.get("/held-back/<int:receipt_id>")
@open_to(CREW_LEADS)
def held_item(receipt_id: int) -> ResponseReturnValue:
    """Show both versions of something that was held back."""
    return _page(_item(receipt_id), DecisionForm(formdata=None))


@blueprint.post("/held-back/<int:receipt_id>")
@open_to(CREW_LEADS)
def decide(receipt_id: int) -> ResponseReturnValue:
    """Take something that was held back, or set it aside."""
    form = DecisionForm()
    reason = form.reason.data or ""
    taking = _TAKE in request.form
    try:
        if taking:
            take_held(database(), actor(), receipt_id, reason, present())
        else:
            set_aside_held(database(), actor(), receipt_id, reason, present())
    except InvalidInput as error:
        form.add_problems(error)
        return _page(_item(receipt_id), form), 422
    except Conflict as error:
        flash(message_text(error.message), "problem")
        return redirect(url_for("field.held"))
    flash(gettext("It is taken.") if taking else gettext("It is set aside."), "message")
    return redirect(url_for("field.held"))


def _is_id(text: str) -> bool:
    return text.isascii() and text.isdecimal() and len(text) <= _MOST_DIGITS


def _page(item: HeldItem, form: DecisionForm) -> str:
    return render_template(
        "field/held_item.html",
        item=item,
        form=form,
        title=_title(item),
        phone=_phone(item),
        because=_because(item),
        sent=_sent(item),
        stored=_stored(item),
        audit_url=url_for("auditing.trees", audit_id=item.audit.id)
        if item.audit is not None and item.draw is not None and item.draw.lot_id is not None
        else None,
    )


def _item(receipt_id: int) -> HeldItem:
    for item in list_held(database(), actor()):
        if item.receipt.id == receipt_id:
            return item
    raise NotFound(say("Nothing like that is held back; somebody may have decided already."))


def _line(item: HeldItem) -> HeldLine:
    return HeldLine(
        id=item.receipt.id,
        url=url_for("field.held_item", receipt_id=item.receipt.id),
        title=_title(item),
        because=_because(item),
        received_at=item.receipt.received_at,
        can_be_taken=item.can_be_taken and not item.needs_reason,
    )


def _phone(item: HeldItem) -> str:
    if item.device is None:
        return str(gettext("A phone that is not known here"))
    return f"{item.person}, {item.device.name}"


def _title(item: HeldItem) -> str:
    if item.item is None:
        return str(gettext("Something that cannot be read"))
    if item.tree is not None and item.row is not None:
        return place_words(item.tree, {item.row.id: item.row})
    if item.item.kind is ItemKind.SEAL:
        return str(gettext("A verdict"))
    return str(gettext("A tree that is not in the draw"))


def _because(item: HeldItem) -> str:
    because = item.receipt.held_because
    return "" if because is None else words().say(HELD_BECAUSE_NAMES[because])


def _sent(item: HeldItem) -> Version:
    """Return what the phone says."""
    if item.item is None:
        return Version(
            str(gettext("What came is kept as it is.")), raw=item.receipt.body[:_LONGEST_RAW]
        )
    return _said(item.item, item.receipt.body)


def _said(item: PhoneItem, body: str) -> Version:
    match item.kind:
        case ItemKind.TREE:
            return _answers(gettext("Answers on this tree:"), item.answers, body)
        case ItemKind.TAKE_BACK:
            return Version(str(gettext("The answers on this tree are taken back.")))
        case ItemKind.NOT_A_TREE:
            kind = (
                "" if item.found_kind is None else words().say(PLANTING_KIND_NAMES[item.found_kind])
            )
            return Version(
                str(gettext("No tree for the standard stands here: %(kind)s.", kind=kind))
            )
        case ItemKind.SEAL:
            return Version(
                str(gettext("The verdict that the phone showed:")), _outcomes(item.outcomes)
            )
        case ItemKind.ROW_FINISHED:
            return Version(str(gettext("The crew has finished this row.")))


def _answers(sentence: str, answers: object, body: str) -> Version:
    lines = answer_lines(answers)
    if lines is None:
        return Version(
            str(gettext("Answers that cannot be read as they are.")), raw=body[:_LONGEST_RAW]
        )
    return Version(str(sentence), lines)


def _outcomes(outcomes: Mapping[Stage, Outcome]) -> list[tuple[str, str]]:
    return [
        (words().say(STAGE_NAMES[stage]), words().say(OUTCOME_NAMES[outcome]))
        for stage, outcome in outcomes.items()
    ]


def _stored(item: HeldItem) -> Version:
    """Return what the server has instead."""
    if item.before is not None:
        return _first_under_its_id(item.before.body)
    against = item.receipt.held_against or {}
    if item.item is not None and item.item.kind is ItemKind.SEAL and "outcomes" in against:
        return Version(
            str(gettext("The verdict that the stored answers give:")),
            _outcomes(_read_outcomes(against["outcomes"])),
        )
    if item.kept is not None:
        who = gettext("Answers of %(name)s on this tree:", name=item.auditor)
        return _answers(who, item.kept.answers, json.dumps(item.kept.answers))
    if item.audit is None:
        return Version(str(gettext("Nothing: this audit has not begun here.")))
    if item.receipt.held_because is HeldBecause.NOT_OWN:
        return Version(str(gettext("An audit of %(name)s.", name=item.auditor)))
    return Version(str(gettext("Nothing on this tree.")))


def _first_under_its_id(body: str) -> Version:
    try:
        first = reread(body)
    except Unreadable:
        return Version(
            str(gettext("Under the same id something came first that cannot be read.")),
            raw=body[:_LONGEST_RAW],
        )
    said = _said(first, body)
    sentence = gettext("Under the same id came first: %(what)s", what=said.sentence)
    return Version(str(sentence), said.lines, said.raw)


def _read_outcomes(stored: Any) -> dict[Stage, Outcome]:  # noqa: ANN401 - a JSON value
    return {Stage(stage): Outcome(outcome) for stage, outcome in dict(stored).items()}
