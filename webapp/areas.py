"""The areas of the pages, one blueprint each."""

from flask import Blueprint

from webapp.account.routes import blueprint as account
from webapp.today.routes import blueprint as today


def blueprints() -> tuple[Blueprint, ...]:
    """Return every area's blueprint."""
    return (account, today)
