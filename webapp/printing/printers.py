"""Printers: how each turns its sheets over, and how far its backs are moved."""

from flask import flash, redirect, render_template, url_for
from flask.typing import ResponseReturnValue
from flask_babel import gettext

from audits.errors import InvalidInput
from audits.services import printers as services
from audits.vocabulary import TURNED_OVER_NAMES
from printables.imposition import Correction
from webapp.access import CREW_LEADS, actor, open_to
from webapp.extensions import database
from webapp.forms import message_text
from webapp.printing.blueprint import blueprint
from webapp.printing.presenters import correction_words
from webapp.printing.printer_form import ChangedPrinterForm, PrinterForm


@blueprint.get("/printers")
@open_to(CREW_LEADS)
def printers() -> ResponseReturnValue:
    """List the printers with their corrections."""
    found = services.list_printers(database(), actor(), with_retired=True)
    return render_template(
        "printing/printers.html",
        printers=[
            (
                printer,
                message_text(TURNED_OVER_NAMES[printer.turned_over]),
                correction_words(printer.back_right_mm, printer.back_down_mm),
            )
            for printer in found
        ],
    )


@blueprint.route("/printers/new", methods=["GET", "POST"])
@open_to(CREW_LEADS)
def add_printer() -> ResponseReturnValue:
    """Add a printer; its test page comes next."""
    form = PrinterForm()
    if form.validate_on_submit():
        try:
            printer_id = services.add_printer(database(), actor(), **form.entered())
        except InvalidInput as error:
            form.add_problems(error)
        else:
            flash(gettext("The printer was added. Print its test page next."), "message")
            return redirect(url_for(".printer", printer_id=printer_id))
    return render_template("printing/printer_new.html", form=form), 422 if form.errors else 200


@blueprint.route("/printers/<int:printer_id>", methods=["GET", "POST"])
@open_to(CREW_LEADS)
def printer(printer_id: int) -> ResponseReturnValue:
    """Show a printer with its test page, and take its correction."""
    with database().read() as connection:
        found = services.the_printer(connection, actor().farm_id, printer_id)
    form = ChangedPrinterForm(obj=found)
    if form.validate_on_submit():
        try:
            entered = form.entered()
            Correction(entered["back_right_mm"], entered["back_down_mm"])
            services.edit_printer(database(), actor(), printer_id, **entered)
            services.retire_printer(database(), actor(), printer_id, retired=form.retired.data)
        except InvalidInput as error:
            form.add_problems(error)
        else:
            flash(
                gettext("The printer was saved. Print its test page again."),
                "message",
            )
            return redirect(url_for(".printer", printer_id=printer_id))
    return render_template(
        "printing/printer.html",
        form=form,
        printer=found,
        correction=correction_words(found.back_right_mm, found.back_down_mm),
    ), 422 if form.errors else 200
