"""The main ways through the pages, by role."""

from dataclasses import dataclass
from typing import Any, Final

from flask import current_app, g, request, url_for
from flask_babel import gettext

from audits.records import Actor
from audits.vocabulary import Role
from webapp.access import CREW_LEADS, EVERYONE, OWNERS, crew_lead_of_phone

# Areas without an entry of their own, and the entry under which people find them.
_AREAS_WITHIN: Final = {
    "auditing": "passes",
    "checks": "passes",
    "coaching": "workers",
    "contests": "workers",
    "field": "today",
    "gallery": "learn",
    "items": "learn",
    "learning_rows": "learn",
    "papers": "printing",
    "practice": "learn",
    "quizzes": "learn",
    "standards": "blocks",
}


@dataclass(frozen=True)
class Way:
    """An entry of the navigation."""

    label: str
    url: str
    current: bool


def ways() -> list[Way]:
    """Return the entries for the signed-in person, none when nobody is."""
    actor = g.get("actor")
    if actor is None:
        return []
    offered: list[tuple[str, str, frozenset[Role]]] = [
        (gettext("Today"), "today.index", CREW_LEADS),
        (gettext("Blocks"), "blocks.index", CREW_LEADS),
        (gettext("Passes"), "passes.index", CREW_LEADS),
        (gettext("Crews"), "crews.index", CREW_LEADS),
        (gettext("Workers"), "workers.index", CREW_LEADS),
        (gettext("My page"), "contests.mine", frozenset({Role.WORKER})),
        (gettext("My work"), "workers.mine", frozenset({Role.WORKER})),
        (gettext("My trees"), "contests.trees", frozenset({Role.WORKER})),
        (gettext("Learn"), "learn.index", EVERYONE),
        (gettext("Comparison"), "comparison.index", CREW_LEADS),
        (gettext("Auditors"), "auditors.index", CREW_LEADS),
        (gettext("Season"), "season.index", OWNERS),
        (gettext("Print"), "printing.index", CREW_LEADS),
        (gettext("Safety"), "safety.index", EVERYONE),
        (gettext("Phones"), "devices.index", CREW_LEADS),
        (gettext("Farm"), "farm.index", OWNERS),
    ]
    own = [
        (label, endpoint)
        for label, endpoint, roles in offered
        if actor.role in roles and endpoint in current_app.view_functions
    ]
    if crew_lead_of_phone() is not None:
        own = [(label, endpoint) for label, endpoint in own if endpoint == "learn.index"]
    present = _present_way([endpoint for _, endpoint in own])
    return [Way(label, url_for(endpoint), endpoint == present) for label, endpoint in own]


def _present_way(offered: list[str]) -> str | None:
    """Return the entry under which the page is found: its own, else the first of its area."""
    if request.endpoint in offered:
        return request.endpoint
    area = (request.endpoint or "").partition(".")[0]
    for wanted in (area, _AREAS_WITHIN.get(area)):
        for endpoint in offered:
            if endpoint.partition(".")[0] == wanted:
                return endpoint
    return None


def first_page(actor: Actor) -> str:
    """Return the address of the page on which somebody begins."""
    return url_for("contests.mine" if actor.role is Role.WORKER else "today.index")


def way_to(endpoint: str, **values: Any) -> str | None:  # noqa: ANN401 - as url_for takes them
    """Return the address of a page of another area, or None where that area is not installed."""
    return url_for(endpoint, **values) if endpoint in current_app.view_functions else None
