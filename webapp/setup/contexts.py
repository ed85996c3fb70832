"""Whether browsers let a page work without a signal."""

from typing import TYPE_CHECKING
from urllib.parse import urlsplit

from flask import current_app, request

from webapp.hosts import is_loopback

if TYPE_CHECKING:
    from webapp.config import Settings


def secure_context() -> bool:
    """
    Return whether this page came in a way that browsers call a secure context.

    Over https, or from this very machine (W3C, Secure Contexts, 3.1). Elsewhere a browser offers
    neither service workers nor lasting storage.
    """
    settings = settings_of_app()
    return settings.https or request.is_secure or is_loopback(host_name())


def settings_of_app() -> "Settings":
    """Return what the application was told at its start."""
    return current_app.extensions["pruning_audit_settings"]  # type: ignore[no-any-return]


def host_name() -> str:
    """Return the host that the visitor typed, without its port."""
    try:
        return urlsplit(f"//{request.host}").hostname or ""
    except ValueError:
        return ""
