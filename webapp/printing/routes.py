"""The print desk: cards, quizzes and rework orders as PDF."""

import secrets

from flask import Blueprint, Response, render_template, request
from flask.typing import ResponseReturnValue

from audits.errors import InvalidInput
from audits.services.accounts import LANGUAGES
from audits.services.farms import the_block
from audits.storage.queries import farms as farm_queries
from audits.vocabulary import Method
from printables.card import CardFormat
from printables.sheet import Page
from webapp.access import CREW_LEADS, actor, open_to
from webapp.extensions import database, farm, today
from webapp.printing.forms import BOTH_LANGUAGES, CardForm, QuizForm
from webapp.printing.orders import rework_pdf
from webapp.printing.sheets import card_pdf, quiz_pdf
from webapp.reading import chosen_language

blueprint = Blueprint("printing", __name__, url_prefix="/print")

_LARGEST_SEED = 1_000_000
# Both forms stand on one page, so that their fields need names of their own.
CARD, QUIZ = "card", "quiz"


@blueprint.get("")
@open_to(CREW_LEADS)
def index() -> ResponseReturnValue:
    """Offer what can be printed."""
    chosen: dict[str, object] = {"page": _usual_page()}
    block_id = request.args.get("block_id", type=int)
    if block_id is not None:
        chosen["block_id"] = block_id
    return _desk(_card_form(chosen), _quiz_form(chosen))


@blueprint.get("/cards.pdf")
@open_to(CREW_LEADS)
def cards() -> ResponseReturnValue:
    """Print pocket cards."""
    form = CardForm(formdata=request.args, prefix=CARD)
    _offer(form)
    if form.validate():
        with database().read() as connection:
            block = the_block(connection, actor().farm_id, form.block_id.data)
        both = form.language.data == BOTH_LANGUAGES
        try:
            return _pdf(
                card_pdf(
                    database(),
                    farm(),
                    block,
                    day=today(),
                    languages=LANGUAGES if both else (form.language.data,),
                    method=Method(form.method.data),
                    page=Page(form.page.data),
                    card_format=CardFormat(form.card_format.data),
                    copies=form.copies.data,
                ),
                "cards",
            )
        except InvalidInput as error:
            form.add_problems(error)
    return _desk(form, _quiz_form({"page": _usual_page()})), 422


@blueprint.get("/quiz.pdf")
@open_to(CREW_LEADS)
def quiz() -> ResponseReturnValue:
    """Print a quiz with its key."""
    form = QuizForm(formdata=request.args, prefix=QUIZ)
    _offer(form)
    if form.validate():
        with database().read() as connection:
            block = the_block(connection, actor().farm_id, form.block_id.data)
        try:
            return _pdf(
                quiz_pdf(
                    database(),
                    farm(),
                    block,
                    day=today(),
                    language=form.language.data,
                    method=Method(form.method.data),
                    page=Page(form.page.data),
                    seed=form.seed.data or 0,
                    variant=form.variant.data,
                ),
                "quiz",
            )
        except InvalidInput as error:
            form.add_problems(error)
    return _desk(_card_form({"page": _usual_page()}), form), 422


@blueprint.get("/rework/<int:order_id>.pdf")
@open_to(CREW_LEADS)
def rework_order(order_id: int) -> ResponseReturnValue:
    """Print a rework order."""
    return _pdf(rework_pdf(order_id, Page(_usual_page())), "rework")


def _desk(card: CardForm, quiz_form: QuizForm) -> str:
    has_blocks = _offer(card)
    _offer(quiz_form)
    return render_template("printing/index.html", card=card, quiz=quiz_form, has_blocks=has_blocks)


def _offer(form: CardForm | QuizForm) -> bool:
    with database().read() as connection:
        blocks = farm_queries.blocks(connection, actor().farm_id)
    form.offer(blocks)
    return bool(blocks)


def _card_form(chosen: dict[str, object]) -> CardForm:
    return CardForm(formdata=None, prefix=CARD, data=chosen)


def _quiz_form(chosen: dict[str, object]) -> QuizForm:
    fresh = {"language": chosen_language(), "seed": secrets.randbelow(_LARGEST_SEED)}
    return QuizForm(formdata=None, prefix=QUIZ, data={**fresh, **chosen})


def _usual_page() -> str:
    """Return the paper that is usual in the farm's region; people choose another on the form."""
    return str(Page.LETTER if farm().region in {"US", "CA", "MX"} else Page.A4)


def _pdf(document: bytes, name: str) -> Response:
    return Response(
        document,
        mimetype="application/pdf",
        headers={"Content-Disposition": f'inline; filename="{name}.pdf"'},
    )
