"""All views of the area, one module a subject."""

from webapp.learn import briefs, home, records
from webapp.learn.blueprint import blueprint

__all__ = ["blueprint", "briefs", "home", "records"]
