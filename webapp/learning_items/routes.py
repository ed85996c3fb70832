"""The farm's quiz items: the list, one of them, retiring and restoring."""

from flask import Blueprint, flash, redirect, render_template, url_for
from flask.typing import ResponseReturnValue
from flask_babel import gettext

from audits.errors import Conflict, InvalidInput, NotFound
from audits.messages import say
from audits.services.item_bank import item_report, restore_item, retire_item
from audits.services.quiz_results import question_as_asked
from webapp.access import CREW_LEADS, OWNERS, actor, open_to
from webapp.extensions import database, present
from webapp.forms import message_text
from webapp.learning_items.examples import example_of
from webapp.learning_items.forms import RetireForm
from webapp.learning_items.presenters import item_page, list_page

blueprint = Blueprint("items", __name__, url_prefix="/quiz-items")


@blueprint.get("")
@open_to(CREW_LEADS)
def index() -> ResponseReturnValue:
    """List the items, those that need a look first."""
    report = item_report(database(), actor(), present())
    return render_template("learning_items/index.html", page=list_page(report))


@blueprint.get("/<item>")
@open_to(CREW_LEADS)
def show(item: str) -> ResponseReturnValue:
    """Show one item: an example, and what its answers say."""
    return _page(item, RetireForm(formdata=None))


@blueprint.post("/<item>/retire")
@open_to(OWNERS)
def retire(item: str) -> ResponseReturnValue:
    """Take an item out of the quizzes that will be made."""
    form = RetireForm()
    if not form.validate():
        return _page(item, form), 422
    try:
        retire_item(database(), actor(), item, reason=str(form.entered()["reason"]), now=present())
    except InvalidInput as error:
        form.add_problems(error)
        return _page(item, form), 422
    except Conflict as error:
        flash(message_text(error.message), "problem")
        return redirect(url_for("items.show", item=item))
    flash(gettext("Not asked any more. Quizzes that were made before stay as they are."))
    return redirect(url_for("items.show", item=item))


@blueprint.post("/<item>/restore")
@open_to(OWNERS)
def restore(item: str) -> ResponseReturnValue:
    """Bring a retired item back."""
    restore_item(database(), actor(), item, now=present())
    flash(gettext("New quizzes may ask it again."))
    return redirect(url_for("items.show", item=item))


def _page(item: str, form: RetireForm) -> str:
    report = item_report(database(), actor(), present())
    line = next((each for each in report.lines if each.item == item), None)
    if line is None:
        raise NotFound(say("There is no such item."))
    asked = question_as_asked(database(), actor(), item) if line.reading else None
    return render_template(
        "learning_items/show.html",
        page=item_page(line, report, asked or example_of(item), is_asked=asked is not None),
        form=form,
        item=item,
    )
