"""The print desk: cards, quizzes, coaching sheets and rework orders as PDF."""

import secrets
from collections.abc import Sequence

from flask import Blueprint, render_template, request
from flask.typing import ResponseReturnValue

from audits.errors import InvalidInput
from audits.services.accounts import LANGUAGES
from audits.services.farms import the_block
from audits.storage.queries import farms as farm_queries
from audits.vocabulary import Method
from printables.card import CardFormat
from printables.sheet import Page
from webapp.access import CREW_LEADS, actor, open_to
from webapp.coaching.papers import coaching_pdf, crew_pdf, name_of
from webapp.extensions import database, farm, today
from webapp.printing.forms import BOTH_LANGUAGES, CardForm, QuizForm, SheetForm
from webapp.printing.orders import rework_pdf
from webapp.printing.papers import pdf_answer, usual_page
from webapp.printing.sheets import card_pdf, quiz_pdf
from webapp.reading import chosen_language

blueprint = Blueprint("printing", __name__, url_prefix="/print")

_LARGEST_SEED = 1_000_000
# The forms stand on one page, so that their fields need names of their own.
CARD, QUIZ, COACHING, CREW = "card", "quiz", "coaching", "crew"


@blueprint.get("")
@open_to(CREW_LEADS)
def index() -> ResponseReturnValue:
    """Offer what can be printed."""
    chosen: dict[str, object] = {"page": str(usual_page())}
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
            return pdf_answer(
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
    return _desk(form, _quiz_form({"page": str(usual_page())})), 422


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
            return pdf_answer(
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
    return _desk(_card_form({"page": str(usual_page())}), form), 422


@blueprint.get("/rework/<int:order_id>.pdf")
@open_to(CREW_LEADS)
def rework_order(order_id: int) -> ResponseReturnValue:
    """Print a rework order."""
    return pdf_answer(rework_pdf(order_id, usual_page()), "rework")


@blueprint.get("/coaching.pdf")
@open_to(CREW_LEADS)
def coaching() -> ResponseReturnValue:
    """Print a worker's coaching sheet, in the worker's language."""
    form = SheetForm(formdata=request.args, prefix=COACHING)
    form.offer(_workers())
    if not form.validate():
        return _desk_with(coaching=form), 422
    return pdf_answer(coaching_pdf(form.of_id.data, Page(form.page.data)), "coaching")


@blueprint.get("/crew.pdf")
@open_to(CREW_LEADS)
def crew() -> ResponseReturnValue:
    """Print a crew leader's sheet."""
    form = SheetForm(formdata=request.args, prefix=CREW)
    form.offer(_crews())
    if not form.validate():
        return _desk_with(crew=form), 422
    return pdf_answer(crew_pdf(form.of_id.data, Page(form.page.data)), "crew")


def _desk(card: CardForm, quiz_form: QuizForm) -> str:
    return _desk_with(card=card, quiz=quiz_form)


def _desk_with(
    card: CardForm | None = None,
    quiz: QuizForm | None = None,
    coaching: SheetForm | None = None,
    crew: SheetForm | None = None,
) -> str:
    """Return the desk with some forms as they were sent, the others fresh."""
    card = card or _card_form({"page": str(usual_page())})
    quiz = quiz or _quiz_form({"page": str(usual_page())})
    has_blocks = _offer(card)
    _offer(quiz)
    return render_template(
        "printing/index.html",
        card=card,
        quiz=quiz,
        has_blocks=has_blocks,
        coaching=coaching or _sheet_form(COACHING, _workers()),
        crew=crew or _sheet_form(CREW, _crews()),
    )


def _sheet_form(prefix: str, names: Sequence[tuple[int, str]]) -> SheetForm:
    form = SheetForm(formdata=None, prefix=prefix, data={"page": str(usual_page())})
    form.offer(names)
    return form


def _workers() -> list[tuple[int, str]]:
    with database().read() as connection:
        workers = farm_queries.workers(connection, actor().farm_id)
    names = [(worker.id, name_of(worker)) for worker in workers]
    return sorted(names, key=lambda pair: pair[1].casefold())


def _crews() -> list[tuple[int, str]]:
    with database().read() as connection:
        return [(each.id, each.name) for each in farm_queries.crews(connection, actor().farm_id)]


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
