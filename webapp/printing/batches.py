"""Print batches: made from choices, opened as PDF, checked for scale, withdrawn."""

from typing import Final

from flask import flash, jsonify, redirect, render_template, url_for
from flask.typing import ResponseReturnValue
from flask_babel import gettext

from audits.errors import Conflict, InvalidInput
from audits.messages import say
from audits.records import PrintBatch
from audits.services import printing
from audits.services.printing import BatchOrder
from audits.vocabulary import BatchKind
from printables.document import Progress, to_pdf
from webapp.access import CREW_LEADS, actor, open_to
from webapp.extensions import database, present
from webapp.printing.addresses import leads_nowhere
from webapp.printing.batch_documents import batch_document, document_of_batch
from webapp.printing.blueprint import blueprint
from webapp.printing.check_form import CheckForm
from webapp.printing.choices import BatchChoices, stored_choices
from webapp.printing.forms import CardForm, GaugeForm
from webapp.printing.jobs import JobState, Make, print_jobs
from webapp.printing.makers import batch_choices
from webapp.printing.papers import pdf_answer
from webapp.printing.presenters import batch_lines, batch_page

# Beyond so many cards or sheets a file is made in the background, with its progress shown.
LONG_RUN: Final = 100
# As wide as a number can become, so that what fits with it fits with any.
_WIDEST_NUMBER: Final = 9999


def make(form: CardForm | GaugeForm) -> ResponseReturnValue:
    """Record what was chosen and go to the batch's page; raise InvalidInput if it does not fit."""
    version_id, choices = batch_choices(form)
    order = checked_order(version_id, choices, form.printer_id.data or None)
    batch = printing.make_batch(database(), actor(), order, present())
    if _is_long(batch):
        _start(batch)
    return redirect(url_for(".batch", number=batch.number))


def checked_order(version_id: int, choices: BatchChoices, printer_id: int | None) -> BatchOrder:
    """Return what is to be recorded; what does not fit on paper is found before anything is."""
    batch_document(database(), actor().farm_id, version_id, choices, number=_WIDEST_NUMBER)
    return BatchOrder(
        kind=BatchKind(choices.kind),
        block_id=choices.subject.block_id,
        standard_version_id=version_id,
        printer_id=printer_id,
        choices=stored_choices(choices),
        copies=choices.count,
    )


def hindrance() -> str | None:
    """Return why a card's code would lead nowhere, where the pages were opened on this machine."""
    host = leads_nowhere()
    if host is None:
        return None
    return str(
        gettext(
            "These pages were opened on the machine itself (%(host)s). The code on paper would "
            "lead nowhere on a phone: open them under the address that phones use, then print.",
            host=host,
        )
    )


@blueprint.get("/batches")
@open_to(CREW_LEADS)
def batches() -> ResponseReturnValue:
    """List what was printed with gauges on it."""
    found = printing.batch_views(database(), actor(), present())
    return render_template("printing/batches.html", batches=batch_lines(found))


@blueprint.route("/batches/<int:number>", methods=["GET", "POST"])
@open_to(CREW_LEADS)
def batch(number: int) -> ResponseReturnValue:
    """Show a batch with its file and its checks, and note a check of its scale."""
    found = printing.batch_view(database(), actor(), number, present())
    form = CheckForm()
    if form.validate_on_submit():
        try:
            check = printing.note_check(
                database(), actor(), number, **form.entered(), now=present()
            )
        except InvalidInput as error:
            form.add_problems(error)
        else:
            flash(
                gettext("The check was passed: these gauges may be used.")
                if check.passed
                else gettext("The check was not passed. Do not use these gauges."),
                "message" if check.passed else "problem",
            )
            return redirect(url_for(".batch", number=number))
    return render_template(
        "printing/batch.html",
        page=batch_page(found),
        form=form,
        file=print_jobs().standing(_key(found.batch)) if _is_long(found.batch) else None,
    ), 422 if form.errors else 200


@blueprint.get("/batches/<int:number>.pdf")
@open_to(CREW_LEADS)
def batch_pdf(number: int) -> ResponseReturnValue:
    """Answer with a batch's PDF; one of many pages is made on the batch's page first."""
    found = printing.batch_view(database(), actor(), number, present()).batch
    if found.withdrawn_at is not None:
        raise Conflict(say("This batch was withdrawn. Print a new one."))
    name = f"{found.kind}-B{number}"
    if not _is_long(found):
        return pdf_answer(to_pdf(document_of_batch(database(), actor().farm_id, found)), name)
    content = print_jobs().content(_key(found))
    if content is None:
        return redirect(url_for(".batch", number=number))
    return pdf_answer(content, name)


@blueprint.post("/batches/<int:number>/file")
@open_to(CREW_LEADS)
def make_file(number: int) -> ResponseReturnValue:
    """Have the file of a batch made again, the same as the first time."""
    found = printing.batch_view(database(), actor(), number, present()).batch
    if found.withdrawn_at is not None:
        raise Conflict(say("This batch was withdrawn. Print a new one."))
    if _is_long(found):
        _start(found)
    return redirect(url_for(".batch", number=number))


@blueprint.get("/batches/<int:number>/file")
@open_to(CREW_LEADS)
def file_standing(number: int) -> ResponseReturnValue:
    """Say how far the file of a batch is, for the page that waits for it."""
    found = printing.batch_view(database(), actor(), number, present()).batch
    standing = print_jobs().standing(_key(found))
    return jsonify(
        pending=int(standing.state is JobState.WORKING), progress=round(standing.progress, 3)
    )


@blueprint.post("/batches/<int:number>/withdraw")
@open_to(CREW_LEADS)
def withdraw(number: int) -> ResponseReturnValue:
    """Withdraw a batch."""
    printing.withdraw_batch(database(), actor(), number, present())
    flash(gettext("Batch B%(number)s is withdrawn. Collect what is out.", number=number), "message")
    return redirect(url_for(".batch", number=number))


def _is_long(found: PrintBatch) -> bool:
    return found.copies > LONG_RUN


def _key(found: PrintBatch) -> str:
    return f"batch-{actor().farm_id}-{found.number}"


def _start(found: PrintBatch) -> None:
    print_jobs().start(_key(found), _maker(found))


def _maker(found: PrintBatch) -> Make:
    # Taken out of the request, which is over by then.
    source, farm_id = database(), actor().farm_id

    def make(show: Progress) -> bytes:
        # Laying out and writing take about as long.
        document = document_of_batch(
            source, farm_id, found, lambda done, whole: show(done, 2 * whole)
        )
        return to_pdf(document, lambda done, whole: show(whole + done, 2 * whole))

    return make
