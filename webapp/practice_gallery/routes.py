"""The gallery: how practice trees grow, before and after, beside what is published."""

from flask import Blueprint, render_template
from flask.typing import ResponseReturnValue

from audits.services.standards import standard_of
from audits.storage.queries import farms as farm_queries
from audits.storage.queries import standards as standard_queries
from webapp.access import CREW_LEADS, actor, open_to
from webapp.extensions import database, today
from webapp.practice_gallery.choice import choice_fields, chosen_block_id, read_choice
from webapp.practice_gallery.presenters import gallery_view

blueprint = Blueprint("gallery", __name__, url_prefix="/practice-trees")


@blueprint.get("")
@open_to(CREW_LEADS)
def index() -> ResponseReturnValue:
    """Show a tree of each kind, and the figures of many."""
    farm_id = actor().farm_id
    with database().read() as connection:
        blocks = [block for block in farm_queries.blocks(connection, farm_id) if not block.retired]
        versions = standard_queries.standards_in_force(connection, farm_id, today())
    block = next((block for block in blocks if block.id == chosen_block_id()), None)
    version = None if block is None else versions.get(block.id)
    choice = read_choice(block, None if version is None else standard_of(version))
    return render_template(
        "practice_gallery/index.html",
        page=gallery_view(choice),
        choice=choice,
        fields=choice_fields(choice, blocks),
    )
