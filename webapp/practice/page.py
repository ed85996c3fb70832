"""The addresses of the shell: open to anyone, and the same bytes for everybody."""

from typing import Final

from flask import Response
from flask.typing import ResponseReturnValue

from audits.messages import mark
from webapp.access import open_to_anyone
from webapp.extensions import farm
from webapp.practice.blueprint import blueprint
from webapp.practice.phrases import spoken
from webapp.shells import ShellPlan, kept_shell, manifest_json

PLAN: Final = ShellPlan(
    area="practice",
    title=mark("Practise pruning"),
    app="js/practice/app.js",
    styles=("palette", "drawing", "page", "frame", "forms", "lists", "tree", "field", "practice"),
    look="field practice",
    without_scripts=mark(
        "This page draws trees to prune and needs scripts for it. Turn them on, or practise with "
        "the quiz on the pages."
    ),
    # Today is not for workers.
    way_back="learn.index",
    way_back_name=mark("Learn"),
    spoken=spoken,
)


@blueprint.get("/practice/")
@open_to_anyone
def page() -> ResponseReturnValue:
    """Show the practice page, which a phone keeps and opens without signal."""
    return Response(kept_shell(PLAN).page, mimetype="text/html")


@blueprint.get("/practice/worker.js")
@open_to_anyone
def worker() -> ResponseReturnValue:
    """Hand out the service worker with the version and the files of the shell."""
    answer = Response(kept_shell(PLAN).worker, mimetype="text/javascript")
    # Asked anew each time, so that a phone sees a new version at its next contact.
    answer.headers["Cache-Control"] = "no-cache"
    return answer


@blueprint.get("/practice/phrases.json")
@open_to_anyone
def phrases() -> ResponseReturnValue:
    """Hand out what the page says, in every language."""
    return Response(kept_shell(PLAN).phrases, mimetype="application/json")


@blueprint.get("/practice/manifest.webmanifest")
@open_to_anyone
def manifest() -> ResponseReturnValue:
    """Say how the page is installed, in the farm's language."""
    return Response(manifest_json(PLAN, farm().language), mimetype="application/manifest+json")
