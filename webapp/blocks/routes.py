"""Blocks, their rows and the planting map; for owners and supervisors."""

from datetime import date

from flask import Blueprint, flash, redirect, render_template, url_for
from flask.typing import ResponseReturnValue
from flask_babel import gettext, ngettext

from audits.errors import InvalidInput, NotAllowed, NotFound
from audits.messages import say
from audits.records import Block, Row
from audits.services import farms, standards
from audits.storage.queries import farms as farm_queries
from audits.storage.queries import standards as standard_queries
from webapp.access import CREW_LEADS, EVERYONE, actor, open_to
from webapp.blocks.cards import card_words
from webapp.blocks.forms import BlockForm, ChangedBlockForm, PlantingForm, RowForm, RowsForm
from webapp.blocks.presenters import (
    block_lines,
    history_lines,
    key_figures,
    map_lines,
    particulars_of,
    row_lines,
    version_lines,
)
from webapp.extensions import database, farm, today
from webapp.navigation import way_to

blueprint = Blueprint("blocks", __name__, url_prefix="/blocks")


@blueprint.get("")
@open_to(CREW_LEADS)
def index() -> ResponseReturnValue:
    """List the blocks."""
    farm_id = actor().farm_id
    with database().read() as connection:
        blocks = farm_queries.blocks(connection, farm_id, with_retired=True)
        rows = farm_queries.rows(connection, farm_id)
        standards = standard_queries.standards_in_force(connection, farm_id, today())
    return render_template("blocks/index.html", blocks=block_lines(blocks, rows, standards))


@blueprint.route("/new", methods=["GET", "POST"])
@open_to(CREW_LEADS)
def add() -> ResponseReturnValue:
    """Add a block."""
    form = BlockForm()
    if form.validate_on_submit():
        try:
            block_id = farms.add_block(database(), actor(), today=today(), **form.entered())
        except InvalidInput as error:
            form.add_problems(error)
        else:
            flash(gettext("The block was saved. Add its rows next."), "message")
            return redirect(url_for("blocks.show", block_id=block_id))
    return render_template("blocks/edit.html", form=form, block=None), 422 if form.errors else 200


@blueprint.get("/<int:block_id>")
@open_to(EVERYONE)
def show(block_id: int) -> ResponseReturnValue:
    """Show a block: its figures, standards and rows; to workers only what their card shows."""
    farm_id = actor().farm_id
    if actor().role not in CREW_LEADS:
        return _of_worker(block_id)
    with database().read() as connection:
        block = farms.the_block(connection, farm_id, block_id)
        rows = farm_queries.rows_of_block(connection, farm_id, block_id)
        bearing = farms.bearing_positions_by_row(connection, farm_id, block_id, today())
        versions = standard_queries.versions_of_block(connection, farm_id, block_id)
        in_force = standard_queries.standard_in_force(connection, farm_id, block_id, today())
        frozen = standards.what_freezes(connection, farm_id, versions)
    trees = sum(len(positions) for positions in bearing.values())
    return render_template(
        "blocks/show.html",
        block=block,
        figures=key_figures(block, farm().units, trees, in_force),
        particulars_of_block=particulars_of(block, farm()),
        rows=row_lines(rows, bearing),
        versions=version_lines(versions, in_force, frozen, today()),
        card=card_words(block_id),
        batches_url=way_to("printing.batches"),
        print_url=way_to("printing.index", block_id=block_id),
        pass_url=way_to("passes.add", block_id=block_id) if rows and in_force else None,
    )


def _of_worker(block_id: int) -> str:
    card = card_words(block_id)
    if card is None:
        raise NotAllowed(say("Your sign-in is not for this page."))
    with database().read() as connection:
        block = farms.the_block(connection, actor().farm_id, block_id)
        in_force = standard_queries.standard_in_force(
            connection, actor().farm_id, block_id, today()
        )
    return render_template("blocks/card.html", block=block, in_force=in_force, card=card)


@blueprint.route("/<int:block_id>/edit", methods=["GET", "POST"])
@open_to(CREW_LEADS)
def edit(block_id: int) -> ResponseReturnValue:
    """Change a block."""
    block = _block(block_id)
    form = ChangedBlockForm(obj=block)
    if form.validate_on_submit():
        try:
            farms.edit_block(database(), actor(), block_id, today=today(), **form.entered())
        except InvalidInput as error:
            form.add_problems(error)
        else:
            flash(gettext("The block was saved."), "message")
            return redirect(url_for("blocks.show", block_id=block_id))
    return render_template("blocks/edit.html", form=form, block=block), 422 if form.errors else 200


@blueprint.route("/<int:block_id>/rows/new", methods=["GET", "POST"])
@open_to(CREW_LEADS)
def add_rows(block_id: int) -> ResponseReturnValue:
    """Add rows that are alike."""
    block = _block(block_id)
    form = RowsForm(since=_planted(block))
    if form.validate_on_submit():
        entered = form.entered()
        if entered["last_number"] is None:
            entered["last_number"] = entered["first_number"]
        try:
            row_ids = farms.add_rows(database(), actor(), block_id, **entered)
        except InvalidInput as error:
            form.add_problems(error)
        else:
            added = ngettext("%(num)s row was added.", "%(num)s rows were added.", len(row_ids))
            flash(added, "message")
            return redirect(url_for("blocks.show", block_id=block_id))
    return render_template("blocks/rows.html", form=form, block=block), 422 if form.errors else 200


@blueprint.route("/<int:block_id>/rows/<int:row_id>", methods=["GET", "POST"])
@open_to(CREW_LEADS)
def row(block_id: int, row_id: int) -> ResponseReturnValue:
    """Show what stands in a row, and take corrections of the map."""
    block, found = _block_and_row(block_id, row_id)
    form = PlantingForm(since=today())
    if form.validate_on_submit():
        entered = form.entered()
        if entered["last_position"] is None:
            entered["last_position"] = entered["first_position"]
        try:
            farms.add_planting(database(), actor(), row_id, today=today(), **entered)
        except InvalidInput as error:
            form.add_problems(error)
        else:
            flash(
                gettext("The map of row %(number)s was corrected.", number=found.number), "message"
            )
            return redirect(url_for("blocks.row", block_id=block_id, row_id=row_id))
    with database().read() as connection:
        history = [
            farms.planting_of(record)
            for record in farm_queries.plantings_of_row(connection, actor().farm_id, row_id)
        ]
        bearing = farms.bearing_positions(connection, actor().farm_id, row_id, today())
    return render_template(
        "blocks/row.html",
        form=form,
        block=block,
        row=found,
        bearing=len(bearing),
        standing=map_lines(history, found, today()),
        history=history_lines(history, found),
    ), 422 if form.errors else 200


@blueprint.route("/<int:block_id>/rows/<int:row_id>/edit", methods=["GET", "POST"])
@open_to(CREW_LEADS)
def edit_row(block_id: int, row_id: int) -> ResponseReturnValue:
    """Correct a row's number, ends and counts."""
    block, found = _block_and_row(block_id, row_id)
    form = RowForm(obj=found)
    if form.validate_on_submit():
        try:
            farms.edit_row(database(), actor(), row_id, **form.entered())
        except InvalidInput as error:
            form.add_problems(error)
        else:
            flash(gettext("The row was saved."), "message")
            return redirect(url_for("blocks.row", block_id=block_id, row_id=row_id))
    return render_template(
        "blocks/edit_row.html", form=form, block=block, row=found
    ), 422 if form.errors else 200


def _block(block_id: int) -> Block:
    with database().read() as connection:
        return farms.the_block(connection, actor().farm_id, block_id)


def _block_and_row(block_id: int, row_id: int) -> tuple[Block, Row]:
    with database().read() as connection:
        block = farms.the_block(connection, actor().farm_id, block_id)
        found = farms.the_row(connection, actor().farm_id, row_id)
    if found.block_id != block_id:
        raise NotFound(say("There is no such row."))
    return block, found


def _planted(block: Block) -> date:
    """Propose the day from which a block's trees stand there."""
    return today() if block.planting_year is None else date(block.planting_year, 1, 1)
