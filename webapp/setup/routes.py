"""In the pages themselves: whether they answer, and whether a phone will work without a signal."""

from flask import Blueprint, jsonify, render_template, request
from flask.typing import ResponseReturnValue

from webapp.access import open_to_anyone
from webapp.hosts import in_url
from webapp.setup.contexts import host_name, settings_of_app

blueprint = Blueprint("setup", __name__)

_PLAIN_PORT = 80


@blueprint.get("/ready")
@open_to_anyone
def ready() -> ResponseReturnValue:
    """Answer, so that the set-up page learns whether this phone trusts the pages."""
    answer = jsonify(ready=True)
    answer.headers["Vary"] = "Origin"
    if request.origin is not None and request.origin == _setup_origin():
        answer.headers["Access-Control-Allow-Origin"] = request.origin
    return answer


@blueprint.get("/ready/phone")
@open_to_anyone
def phone() -> ResponseReturnValue:
    """Show what this phone can do: it tries a service worker and its storage."""
    return render_template("setup/phone.html")


def _setup_origin() -> str | None:
    """Return the origin of the set-up page on the host that the visitor typed."""
    setup_port = settings_of_app().setup_port
    if setup_port is None:
        return None
    port = "" if setup_port == _PLAIN_PORT else f":{setup_port}"
    return f"http://{in_url(host_name())}{port}"
