"""The application factory."""

from pathlib import Path

from flask import Flask, Response, current_app, g, request
from flask_babel import format_date, format_datetime
from jinja2 import StrictUndefined

from audits.storage.database import Database
from audits.storage.schema import upgrade
from webapp import areas
from webapp.access import crew_lead_of_phone, guard
from webapp.config import Settings
from webapp.extensions import csrf
from webapp.forms import message_text
from webapp.ids import RecordId
from webapp.navigation import ways
from webapp.papers.routes import take_large_photos
from webapp.problems import handle_problems
from webapp.reading import LANGUAGE_NAMES, start_reading, words
from webapp.setup.contexts import secure_context

_LARGEST_REQUEST_BYTES = 1_000_000
_CONTENT_SECURITY_POLICY = (
    "default-src 'self'; object-src 'none'; base-uri 'none'; form-action 'self'; "
    "frame-ancestors 'none'"
)


def create_app(settings: Settings) -> Flask:
    """Return the application, its database brought up to date."""
    app = Flask(__name__, static_folder=str(Path(__file__).parent.parent / "static"))
    app.config.update(
        SECRET_KEY=settings.secret_key,
        SESSION_COOKIE_NAME="__Host-session" if settings.https else "session",
        SESSION_COOKIE_SECURE=settings.https,
        SESSION_COOKIE_HTTPONLY=True,
        SESSION_COOKIE_SAMESITE="Lax",
        MAX_CONTENT_LENGTH=_LARGEST_REQUEST_BYTES,
        SEND_FILE_MAX_AGE_DEFAULT=3600,
    )
    app.url_map.converters["int"] = RecordId
    app.jinja_env.undefined = StrictUndefined
    app.jinja_env.trim_blocks = True
    app.jinja_env.lstrip_blocks = True
    database = Database(settings.database_url)
    upgrade(database)
    app.extensions["pruning_audit_database"] = database
    app.extensions["pruning_audit_settings"] = settings
    start_reading(app)
    # Whoever is not signed in is told that first, and a stale page keeps its reader's menu.
    guard(app)
    take_large_photos(app)
    csrf.init_app(app)
    handle_problems(app)
    for blueprint in areas.blueprints():
        app.register_blueprint(blueprint)
    app.after_request(_secure)
    app.context_processor(_page_context)
    app.jinja_env.globals["secure_context"] = secure_context
    app.jinja_env.filters["say"] = message_text
    app.jinja_env.filters["day"] = lambda value: format_date(value, "medium")
    app.jinja_env.filters["moment"] = lambda value: format_datetime(value, "short")
    return app


def _page_context() -> dict[str, object]:
    return {
        "reader": words(),
        "current_user": g.get("actor"),
        "handed_over": crew_lead_of_phone() is not None,
        "navigation": ways(),
        "languages": LANGUAGE_NAMES,
    }


def _secure(response: Response) -> Response:
    response.headers.setdefault("Content-Security-Policy", _CONTENT_SECURITY_POLICY)
    response.headers["X-Content-Type-Options"] = "nosniff"
    response.headers["Referrer-Policy"] = "same-origin"
    settings: Settings = current_app.extensions["pruning_audit_settings"]
    if settings.hsts and request.is_secure:
        response.headers["Strict-Transport-Security"] = "max-age=31536000"
    if request.endpoint != "static":
        response.headers.setdefault("Cache-Control", "no-store")
    return response
