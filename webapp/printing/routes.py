"""The print desk: what can be printed, and for each thing its choices, its first page, its PDF."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial, update_wrapper
from typing import Final, TypeAlias

from flask import render_template, request, url_for
from flask.typing import ResponseReturnValue
from markupsafe import Markup

from audits.errors import InvalidInput
from printables.document import Document, leaf_svg, to_pdf
from webapp.access import CREW_LEADS, actor, open_to
from webapp.forms import message_text
from webapp.ids import record_id
from webapp.printing import batches, printers
from webapp.printing.blueprint import blueprint
from webapp.printing.choosing import fields_of, fresh_form, sent_form
from webapp.printing.forms import PaperForm
from webapp.printing.needs import Missing, missing_for
from webapp.printing.offers import GROUP_NAMES, OFFERS, Offer
from webapp.printing.orders import rework_document
from webapp.printing.papers import pdf_answer, usual_page
from webapp.printing.stock import Stock

# Importing their modules adds their views.
__all__ = ["batches", "blueprint", "printers"]

View: TypeAlias = Callable[[Offer], ResponseReturnValue]

# The name of the key that shows the first page; sent along, it says that nothing is printed yet.
PREVIEW: Final = "preview"


@dataclass(frozen=True)
class Leaf:
    """The first page of what is to be printed, or why there is none."""

    drawing: Markup | None = None
    pages: int = 0
    is_upright: bool = True
    problems: tuple[str, ...] = ()


@blueprint.get("")
@open_to(CREW_LEADS)
def index() -> ResponseReturnValue:
    """Offer what can be printed, in groups."""
    block_id = request.args.get("block_id", type=record_id)
    offered = [offer for offer in OFFERS if actor().role in offer.roles]
    return render_template(
        "printing/index.html",
        groups=[
            (
                group,
                name,
                [(offer, _address(offer, block_id)) for offer in offered if offer.group is group],
            )
            for group, name in GROUP_NAMES.items()
        ],
    )


@blueprint.get("/rework/<int:order_id>.pdf")
@open_to(CREW_LEADS)
def rework_order(order_id: int) -> ResponseReturnValue:
    """Print a rework order in the reader's language, from its own page."""
    return pdf_answer(to_pdf(rework_document(order_id, usual_page())), "rework")


def _address(offer: Offer, block_id: int | None) -> str:
    if block_id is None or not hasattr(offer.form, "block_id"):
        return url_for(f".{offer.endpoint}")
    return url_for(f".{offer.endpoint}", block_id=block_id)


# --- one thing ---------------------------------------------------------------------------------


def _choose(offer: Offer) -> ResponseReturnValue:
    """Show the choices with the first page; a batch that is sent is made."""
    if request.method == "GET" and PREVIEW not in request.args:
        return _opened(offer)
    form = sent_form(offer, Stock())
    if form.validate():
        try:
            if request.method == "POST" and PREVIEW not in request.form:
                return batches.make(form)
            return _page(offer, form, first_leaf(offer.document(form)))
        except InvalidInput as error:
            form.add_problems(error)
    return _page(offer, form, Leaf()), 422


def _opened(offer: Offer) -> ResponseReturnValue:
    """Show the choices with what is usual, and what is missing before there are any."""
    stock = Stock()
    form = fresh_form(offer, stock, request.args)
    missing = missing_for(form, stock)
    if missing is not None:
        return _page(offer, form, Leaf(), missing)
    try:
        leaf = first_leaf(offer.document(form))
    except InvalidInput as error:
        # Nobody has chosen yet, so that nobody was refused.
        leaf = Leaf(problems=tuple(map(message_text, error.problems.values())))
    return _page(offer, form, leaf)


def _preview(offer: Offer) -> ResponseReturnValue:
    """Answer with the first page alone, for a page that shows it anew."""
    form = sent_form(offer, Stock())
    leaf = Leaf()
    if form.validate():
        try:
            leaf = first_leaf(offer.document(form))
        except InvalidInput as error:
            form.add_problems(error)
    if form.errors:
        leaf = Leaf(problems=tuple(form.sentences()))
    return render_template("printing/_leaf.html", leaf=leaf)


def _print(offer: Offer) -> ResponseReturnValue:
    """Answer with the PDF."""
    form = sent_form(offer, Stock())
    if form.validate():
        try:
            return pdf_answer(to_pdf(offer.document(form)), offer.key)
        except InvalidInput as error:
            form.add_problems(error)
    return _page(offer, form, Leaf()), 422


def _page(offer: Offer, form: PaperForm, leaf: Leaf, missing: Missing | None = None) -> str:
    return render_template(
        "printing/choose.html",
        offer=offer,
        form=form,
        fields=fields_of(form),
        leaf=leaf,
        missing=missing,
        page_url=url_for(f".{offer.endpoint}"),
        print_url=url_for(f".{offer.endpoint}" if offer.is_batch else f".{offer.endpoint}_pdf"),
        preview_url=url_for(f".{offer.endpoint}_preview"),
        hindrance=batches.hindrance() if offer.has_code else None,
    )


def first_leaf(document: Document) -> Leaf:
    """Draw the first page of a document for the screen."""
    first = document.leaves[0]
    drawing = leaf_svg(first, document.title, id_prefix="leaf")
    # Every name in it was escaped where the drawing was written.
    markup = Markup(drawing)  # noqa: S704
    width, height = first.size_mm
    return Leaf(markup, len(document.leaves), is_upright=height >= width)


def _offer_pages(offer: Offer) -> None:
    """Add the views of one thing."""
    for view, rule, endpoint, methods in _views_of(offer):
        opened = open_to(offer.roles)(update_wrapper(partial(view, offer), view))
        blueprint.add_url_rule(rule, endpoint, opened, methods=methods)


def _views_of(offer: Offer) -> list[tuple[View, str, str, list[str]]]:
    page, endpoint = f"/{offer.key}", offer.endpoint
    views: list[tuple[View, str, str, list[str]]] = [
        (_choose, page, endpoint, ["GET", "POST"] if offer.is_batch else ["GET"]),
        (_preview, f"{page}/preview", f"{endpoint}_preview", ["GET"]),
    ]
    if not offer.is_batch:
        views.append((_print, f"{page}.pdf", f"{endpoint}_pdf", ["GET"]))
    return views


for each in OFFERS:
    _offer_pages(each)
