"""What every view shares: the database, the farm and the present."""

from datetime import date, datetime
from zoneinfo import ZoneInfo

from flask import current_app, g
from flask_babel import Babel
from flask_wtf.csrf import CSRFProtect

from audits.records import Farm
from audits.storage.database import Database
from audits.storage.queries.accounts import only_farm

babel = Babel()
csrf = CSRFProtect()


def database() -> Database:
    """Return the application's database."""
    return current_app.extensions["pruning_audit_database"]  # type: ignore[no-any-return]


def present() -> datetime:
    """Return the present, as the application's clock has it."""
    return current_app.extensions["pruning_audit_settings"].now()  # type: ignore[no-any-return]


def today() -> date:
    """Return the day that it is on the farm."""
    return farm_day(present())


def farm_day(moment: datetime) -> date:
    """Return the day that it was on the farm at a moment."""
    return moment.astimezone(ZoneInfo(farm().time_zone)).date()


def farm() -> Farm:
    """Return the farm of this installation, read once a request."""
    if "farm" not in g:
        with database().read() as connection:
            g.farm = only_farm(connection)
    if g.farm is None:
        raise RuntimeError("no farm has been set up: run pruning-audit init")
    return g.farm  # type: ignore[no-any-return]
