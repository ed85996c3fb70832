"""The safety page; for everyone who has signed in."""

from flask import Blueprint, render_template
from flask.typing import ResponseReturnValue

from webapp.access import EVERYONE, open_to
from webapp.extensions import farm
from webapp.safety.presenters import sheets, where_help_is

blueprint = Blueprint("safety", __name__, url_prefix="/safety")


@blueprint.get("")
@open_to(EVERYONE)
def index() -> ResponseReturnValue:
    """Show every safety note, by method and topic."""
    return render_template(
        "safety/index.html", sheets=sheets(farm()), place=where_help_is({}, farm())
    )
