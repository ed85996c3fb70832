"""All views of the area, one module a subject."""

from webapp.auditing import (
    amendments,
    desk,
    inspections,
    lots,
    rework,
    sheets_on_paper,
    trees,
    verdicts,
)
from webapp.auditing.blueprint import blueprint

__all__ = [
    "amendments",
    "blueprint",
    "desk",
    "inspections",
    "lots",
    "rework",
    "sheets_on_paper",
    "trees",
    "verdicts",
]
