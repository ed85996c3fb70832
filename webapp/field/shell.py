"""The shell of the page in the row; see `webapp.shells`."""

from pathlib import Path
from typing import Final

from audits.messages import mark
from webapp.field.phrases import spoken
from webapp.shells import Shell, ShellPlan, built_shell, kept_shell

PLAN: Final = ShellPlan(
    area="field",
    title=mark("Pruning audit"),
    app="js/field/app.js",
    styles=("palette", "drawing", "page", "frame", "forms", "lists", "tree", "field", "lock"),
    look="field",
    without_scripts=mark(
        "This page keeps trees on the phone and needs scripts for it. Turn them on, or use the "
        "audit's pages."
    ),
    way_back="today.index",
    way_back_name=mark("Today"),
    spoken=spoken,
)


def shell() -> Shell:
    """Return the shell, put together once for as long as the program runs."""
    return kept_shell(PLAN)


def build_shell(folder: Path) -> Shell:
    """Put the shell together from a folder of static files."""
    return built_shell(PLAN, folder)
