"""The field area's views, gathered for the application."""

from webapp.field import held, lots, page, photos, syncing
from webapp.field.blueprint import blueprint

__all__ = ["blueprint", "held", "lots", "page", "photos", "syncing"]
