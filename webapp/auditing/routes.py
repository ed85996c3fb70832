"""All views of the area, one module a subject."""

from webapp.auditing import amendments, inspections, lots, rework, trees, verdicts
from webapp.auditing.blueprint import blueprint

__all__ = ["amendments", "blueprint", "inspections", "lots", "rework", "trees", "verdicts"]
