"""The standards of a block; for owners and supervisors."""

from flask import Blueprint, flash, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue
from flask_babel import gettext

from audits.errors import InvalidInput, NotFound
from audits.messages import say
from audits.records import Block, StandardVersion
from audits.services import farms
from audits.services import standards as services
from audits.standard import Standard
from audits.storage.queries import farms as farm_queries
from audits.storage.queries import standards as queries
from webapp.access import CREW_LEADS, actor, open_to
from webapp.blocks.presenters import version_state
from webapp.extensions import database, farm, present, today
from webapp.navigation import way_to
from webapp.standards.forms import StandardForm, values_of
from webapp.standards.presenters import TablePreview, decision_lines, parts, table_preview

blueprint = Blueprint("standards", __name__, url_prefix="/blocks/<int:block_id>/standards")


@blueprint.get("/<int:version>")
@open_to(CREW_LEADS)
def show(block_id: int, version: int) -> ResponseReturnValue:
    """Show a version in plain words, in every language."""
    farm_id = actor().farm_id
    block, found = _block_and_version(block_id, version)
    with database().read() as connection:
        in_force = queries.standard_in_force(connection, farm_id, block_id, today())
        frozen = services.what_freezes(connection, farm_id, [found]).get(found.id)
    standard = services.standard_of(found)
    return render_template(
        "standards/show.html",
        block=block,
        version=found,
        state=version_state(found, in_force, today()),
        in_force=found == in_force,
        frozen=frozen,
        parts=parts(standard, block, farm().region),
        decision=decision_lines(standard),
        print_url=way_to("printing.index", block_id=block_id),
    )


@blueprint.route("/new", methods=["GET", "POST"])
@open_to(CREW_LEADS)
def add(block_id: int) -> ResponseReturnValue:
    """Write a new version, from the preset or from the last version."""
    block = _block(block_id)
    last = _last_version(block_id)
    from_preset = last is None or "preset" in request.args
    start = _start(block, None if from_preset else last)
    form = StandardForm(data={**values_of(start), **_from_today()})
    if form.validate_on_submit():
        try:
            number = services.write_standard(
                database(),
                actor(),
                block_id,
                payload=form.criteria(),
                in_force_from=form.first_day(),
                now=present(),
            )
        except InvalidInput as error:
            form.add_problems(error)
        else:
            flash(gettext("Version %(version)s was saved.", version=number), "message")
            return redirect(url_for("standards.show", block_id=block_id, version=number))
    return render_template(
        "standards/edit.html",
        form=form,
        block=block,
        version=None,
        last=last,
        from_preset=from_preset,
        preview=_preview(form, start, block),
    ), 422 if form.errors else 200


@blueprint.route("/<int:version>/edit", methods=["GET", "POST"])
@open_to(CREW_LEADS)
def edit(block_id: int, version: int) -> ResponseReturnValue:
    """Change a version that no pass has begun under."""
    block, found = _block_and_version(block_id, version)
    with database().read() as connection:
        services.refuse_if_frozen(connection, actor().farm_id, found)
    start = _start(block, found)
    form = StandardForm(data={**values_of(start), "in_force_from": found.in_force_from})
    if form.validate_on_submit():
        try:
            services.edit_standard(
                database(),
                actor(),
                found.id,
                payload=form.criteria(),
                in_force_from=form.first_day(),
            )
        except InvalidInput as error:
            form.add_problems(error)
        else:
            flash(gettext("Version %(version)s was saved.", version=version), "message")
            return redirect(url_for("standards.show", block_id=block_id, version=version))
    return render_template(
        "standards/edit.html",
        form=form,
        block=block,
        version=found,
        last=None,
        from_preset=False,
        preview=_preview(form, start, block),
    ), 422 if form.errors else 200


def _block(block_id: int) -> Block:
    with database().read() as connection:
        return farms.the_block(connection, actor().farm_id, block_id)


def _block_and_version(block_id: int, number: int) -> tuple[Block, StandardVersion]:
    block = _block(block_id)
    with database().read() as connection:
        version = queries.standard_by_number(connection, actor().farm_id, block_id, number)
    if version is None:
        raise NotFound(say("There is no such standard."))
    return block, version


def _last_version(block_id: int) -> StandardVersion | None:
    with database().read() as connection:
        versions = queries.versions_of_block(connection, actor().farm_id, block_id)
    return versions[0] if versions else None


def _start(block: Block, version: StandardVersion | None) -> Standard:
    if version is not None:
        return services.standard_of(version)
    return services.propose_standard(block, farm().units)


def _preview(form: StandardForm, start: Standard, block: Block) -> TablePreview | None:
    """Return what the tables come to; not beside entries that differ from it."""
    if form.errors:
        return None
    with database().read() as connection:
        rows = farm_queries.rows_of_block(connection, actor().farm_id, block.id)
    return table_preview(start, rows)


def _from_today() -> dict[str, object]:
    return {"in_force_from": today()}
