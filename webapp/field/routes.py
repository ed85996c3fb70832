"""The field area's views, gathered for the application."""

from webapp.field import page
from webapp.field.blueprint import blueprint

__all__ = ["blueprint", "page"]
