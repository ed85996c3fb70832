"""Forms of the print desk: as they were sent, or fresh with what is usual."""

import secrets
from collections.abc import Mapping
from typing import Final

from flask import request
from werkzeug.datastructures import MultiDict
from wtforms import Field, SelectField

from webapp.printing.forms import PaperForm
from webapp.printing.offers import Offer
from webapp.printing.papers import usual_pages
from webapp.printing.stock import Stock
from webapp.reading import chosen_language

_LARGEST_SEED: Final = 1_000_000
# What an address may choose ahead.
_CHOSEN_AHEAD: Final = (
    "block_id",
    "crew_id",
    "worker_id",
    "audit_id",
    "order_id",
    "printer_id",
    "season",
)


def sent_form(offer: Offer, stock: Stock) -> PaperForm:
    """Return the form as it was sent; what is not posted needs no token."""
    if request.method == "POST":
        form = offer.form(formdata=request.form)
        form.offer(stock)
        return form
    return filled_form(offer, stock, request.args)


def filled_form(offer: Offer, stock: Stock, entered: MultiDict[str, str]) -> PaperForm:
    """Return the form with what was entered, by whatever way it came."""
    form = offer.form(formdata=entered, meta={"csrf": False})
    form.offer(stock)
    return form


def fresh_form(offer: Offer, stock: Stock, ahead: Mapping[str, str]) -> PaperForm:
    """Return the form with what is usual, and with what is chosen ahead."""
    form = offer.form(formdata=None)
    form.offer(stock)
    usual: dict[str, tuple[object, ...]] = {
        "page": usual_pages(),
        "language": (chosen_language(),),
        "seed": (secrets.randbelow(_LARGEST_SEED),),
        **{name: (value,) for name, value in form.usual(stock).items()},
    }
    for bound in fields_of(form):
        offered = _offered(bound)
        if bound.name in _CHOSEN_AHEAD and ahead.get(bound.name) in offered:
            bound.data = int(ahead[bound.name])
        for value in usual.get(bound.name, ()):
            if bound.data is None and (not offered or str(value) in offered):
                bound.data = value
        if bound.data is None and offered:
            bound.data = bound.coerce(offered[0])
    return form


def fields_of(form: PaperForm) -> list[Field]:
    """Return what a person chooses."""
    return [bound for bound in form if bound.name != "csrf_token"]


def _offered(bound: Field) -> list[str]:
    return [choice.value for choice in bound.choices] if isinstance(bound, SelectField) else []
