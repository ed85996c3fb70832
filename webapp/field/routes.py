"""The field area's views, gathered for the application."""

from webapp.field import lots, page
from webapp.field.blueprint import blueprint

__all__ = ["blueprint", "lots", "page"]
