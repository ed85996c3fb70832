"""The addresses of the shell: open to anyone, and the same bytes for everybody."""

from flask import Response
from flask.typing import ResponseReturnValue

from webapp.access import open_to_anyone
from webapp.extensions import farm
from webapp.field.blueprint import blueprint
from webapp.field.shell import PLAN, shell
from webapp.shells import manifest_json


@blueprint.get("/field/")
@open_to_anyone
def page() -> ResponseReturnValue:
    """Show the page in the row, which a phone keeps and opens without signal."""
    return Response(shell().page, mimetype="text/html")


@blueprint.get("/field/worker.js")
@open_to_anyone
def worker() -> ResponseReturnValue:
    """Hand out the service worker with the version and the files of the shell."""
    answer = Response(shell().worker, mimetype="text/javascript")
    # Asked anew each time, so that a phone sees a new version at its next contact.
    answer.headers["Cache-Control"] = "no-cache"
    return answer


@blueprint.get("/field/phrases.json")
@open_to_anyone
def phrases() -> ResponseReturnValue:
    """Hand out what the phone says, in every language."""
    return Response(shell().phrases, mimetype="application/json")


@blueprint.get("/field/manifest.webmanifest")
@open_to_anyone
def manifest() -> ResponseReturnValue:
    """Say how the page is installed, in the farm's language."""
    return Response(manifest_json(PLAN, farm().language), mimetype="application/manifest+json")
