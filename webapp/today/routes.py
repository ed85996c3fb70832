"""What waits today: finished passes, lots to audit, rework, and safety for today's methods."""

from flask import Blueprint, render_template
from flask.typing import ResponseReturnValue

from webapp.access import CREW_LEADS, open_to

blueprint = Blueprint("today", __name__)


@blueprint.get("/")
@open_to(CREW_LEADS)
def index() -> ResponseReturnValue:
    """Show what waits."""
    return render_template("today/index.html")
