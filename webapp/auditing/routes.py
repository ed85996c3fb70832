"""All views of the area, one module a subject."""

from webapp.auditing import amendments, lots, rework, trees, verdicts
from webapp.auditing.blueprint import blueprint

__all__ = ["amendments", "blueprint", "lots", "rework", "trees", "verdicts"]
