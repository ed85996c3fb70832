"""What must be there before something can be printed, and where to go for it."""

from dataclasses import dataclass

from flask import url_for
from flask_babel import gettext

from webapp.printing.forms import PaperForm
from webapp.printing.stock import Stock


@dataclass(frozen=True)
class Missing:
    """A sentence, and the next step with its address."""

    sentence: str
    step: str
    url: str


def missing_for(form: PaperForm, stock: Stock) -> Missing | None:
    """Return what a form cannot do without, None when it is there."""
    if not form.needs or getattr(stock, form.needs):
        return None
    sentence, step, endpoint = {
        "blocks": (
            gettext("This is made from a block's standard."),
            gettext("Add a block"),
            "blocks.add",
        ),
        "crews": (
            gettext("No crew yet. A crew goes through the rows together."),
            gettext("Add a crew"),
            "crews.add",
        ),
        "workers": (gettext("No worker yet."), gettext("Add a worker"), "crews.add_worker"),
        "audits": (
            gettext("No audit is going on. Begin one; its trees are drawn then."),
            gettext("See the passes"),
            "passes.index",
        ),
        "orders": (
            gettext("Nothing waits for rework."),
            gettext("See the passes"),
            "passes.index",
        ),
    }[form.needs]
    return Missing(sentence, step, url_for(endpoint))
