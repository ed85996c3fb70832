"""
The set-up page in plain HTTP: how a phone comes to trust the farm's certificate.

An application of its own, which has no database, no session and no key: whoever looks at it from
the network sees the farm's name and a certificate that is meant for everybody.
"""

import plistlib
import re
import unicodedata
from dataclasses import dataclass
from pathlib import Path
from typing import Final
from uuid import NAMESPACE_URL, uuid5

import segno
from cryptography import x509
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.serialization import Encoding
from flask import (
    Blueprint,
    Flask,
    Response,
    abort,
    current_app,
    redirect,
    render_template,
    request,
    url_for,
)
from flask.typing import ResponseReturnValue
from flask_babel import Babel, format_date
from jinja2 import StrictUndefined
from markupsafe import Markup

from audits.services.accounts import LANGUAGES
from webapp.certificates import fingerprint
from webapp.hosts import in_url, is_loopback
from webapp.reading import CATALOGUES, LANGUAGE_NAMES
from webapp.setup.contexts import host_name
from webapp.setup.settings import SetupSettings

AUTHORITY_TYPE: Final = "application/x-x509-ca-cert"
PROFILE_TYPE: Final = "application/x-apple-aspen-config"
_SETTINGS: Final = "pruning_audit_setup"
_USUAL_PORTS: Final = {"http": 80, "https": 443}
# Four modules of white around it, ISO/IEC 18004 6.3.8; level M survives a dirty screen.
_QUIET_ZONE: Final = 4
_LARGEST_REQUEST_BYTES: Final = 10_000

blueprint = Blueprint("page", __name__)


def create_setup_page(settings: SetupSettings) -> Flask:
    """Return the application of the set-up page."""
    webapp = Path(__file__).parent.parent
    app = Flask(
        __name__,
        static_folder=str(webapp.parent / "static"),
        template_folder=str(webapp / "templates"),
    )
    app.config.update(MAX_CONTENT_LENGTH=_LARGEST_REQUEST_BYTES, SEND_FILE_MAX_AGE_DEFAULT=3600)
    app.extensions[_SETTINGS] = settings
    app.jinja_env.undefined = StrictUndefined
    app.jinja_env.trim_blocks = True
    app.jinja_env.lstrip_blocks = True
    Babel(app, default_translation_directories=str(CATALOGUES), locale_selector=_language)
    app.register_blueprint(blueprint)
    app.register_error_handler(404, lambda _error: redirect("/"))
    app.register_error_handler(405, lambda _error: redirect("/", 303))
    app.after_request(_secure)
    return app


@blueprint.get("/")
def show() -> ResponseReturnValue:
    """Explain how to set up a phone, or this computer."""
    settings = _settings()
    authority = settings.certificate
    shared = _shared_host()
    return render_template(
        "setup/index.html",
        language=_language(),
        languages=LANGUAGE_NAMES,
        links={
            "here": url_for("page.show", language=_language()),
            "profile": url_for("page.profile"),
            "certificate": url_for("page.certificate"),
        }
        | {code: url_for("page.show", language=code) for code in LANGUAGES},
        farm_name=settings.farm_name,
        device=_device(),
        only_here=settings.only_here,
        https_port=settings.https_port,
        pages_address=_pages_address(_trusted_host()),
        shared_pages=_coded(_pages_address(shared)),
        shared_setup=_coded(_address("http", shared, settings.http_port)),
        authority=_facts(authority) if authority else None,
    )


@blueprint.get("/authority.crt")
def certificate() -> ResponseReturnValue:
    """Hand out the authority's certificate, as Android phones and desks take it."""
    return _download(_authority().public_bytes(Encoding.DER), AUTHORITY_TYPE, "crt")


@blueprint.get("/authority.mobileconfig")
def profile() -> ResponseReturnValue:
    """Hand out the authority's certificate as a profile, as iPhones take it."""
    return _download(configuration_profile(_authority()), PROFILE_TYPE, "mobileconfig")


def configuration_profile(authority: x509.Certificate) -> bytes:
    """
    Return a configuration profile that holds a certificate and nothing else.

    Its identifiers hang on the certificate, so that installing it again replaces it.
    Source: Apple, Device Management, CertificateRoot.
    """
    digits = authority.fingerprint(hashes.SHA256()).hex()
    identifier = f"pruning-audit.{digits[:16]}"
    name = _common_name(authority)
    payload = {
        "PayloadType": "com.apple.security.root",
        "PayloadVersion": 1,
        "PayloadIdentifier": f"{identifier}.authority",
        "PayloadUUID": _uuid(f"{digits}/payload"),
        "PayloadDisplayName": name,
        "PayloadCertificateFileName": "authority.crt",
        "PayloadContent": authority.public_bytes(Encoding.DER),
    }
    return plistlib.dumps(
        {
            "PayloadType": "Configuration",
            "PayloadVersion": 1,
            "PayloadIdentifier": identifier,
            "PayloadUUID": _uuid(digits),
            "PayloadDisplayName": name,
            "PayloadContent": [payload],
        }
    )


def _settings() -> SetupSettings:
    return current_app.extensions[_SETTINGS]  # type: ignore[no-any-return]


def _authority() -> x509.Certificate:
    found = _settings().certificate
    if found is None:
        abort(404)
    return found


def _language() -> str:
    asked = request.args.get("language", "")
    if asked in LANGUAGES:
        return asked
    return request.accept_languages.best_match(LANGUAGES) or _settings().language


def _device() -> str:
    """Return whose steps to open first; the others stay one tap away."""
    agent = request.user_agent.string
    if re.search(r"iPhone|iPad|iPod", agent):
        return "iphone"
    return "android" if "Android" in agent else "desk"


def _trusted_host() -> str:
    """
    Return the host that the visitor typed, if the certificate is good for it.

    Any other would lead to a warning, or to wherever a forged request points.
    """
    names, typed = _settings().names, host_name()
    return typed if names.has(typed) else names.best


def _shared_host() -> str:
    """Return the host that leads here from other machines too."""
    trusted = _trusted_host()
    return _settings().names.best if is_loopback(trusted) else trusted


def _pages_address(host: str) -> str:
    return _address("https", host, _settings().https_port)


def _address(scheme: str, host: str, port: int) -> str:
    shown = "" if port == _USUAL_PORTS[scheme] else f":{port}"
    return f"{scheme}://{in_url(host)}{shown}/"


@dataclass(frozen=True)
class Coded:
    """An address in letters and as a code for a camera."""

    address: str
    code: Markup


@dataclass(frozen=True)
class AuthorityFacts:
    """What a phone shows of the authority, to be compared."""

    name: str
    fingerprint: str
    ends_on: str


def _coded(address: str) -> Coded:
    drawn = segno.make(address, error="m", micro=False).svg_inline(
        border=_QUIET_ZONE, omitsize=True, svgclass="code", lineclass=None
    )
    return Coded(address, Markup(drawn))  # noqa: S704 - squares drawn here, with no text in them


def _facts(authority: x509.Certificate) -> AuthorityFacts:
    return AuthorityFacts(
        name=_common_name(authority),
        fingerprint=fingerprint(authority),
        ends_on=format_date(authority.not_valid_after_utc.date(), "long"),
    )


def _common_name(authority: x509.Certificate) -> str:
    (found,) = authority.subject.get_attributes_for_oid(x509.NameOID.COMMON_NAME)
    return str(found.value)


def _uuid(text: str) -> str:
    return str(uuid5(NAMESPACE_URL, f"pruning-audit:{text}")).upper()


def _download(content: bytes, content_type: str, ending: str) -> Response:
    plain = unicodedata.normalize("NFKD", _settings().farm_name).encode("ascii", "ignore").decode()
    stem = re.sub(r"[^a-z0-9]+", "-", plain.lower()).strip("-") or "farm"
    answer = Response(content, content_type=content_type)
    # Shown at once an iPhone offers to install the profile; saved to a file it would not.
    way = "inline" if content_type == PROFILE_TYPE else "attachment"
    answer.headers["Content-Disposition"] = f'{way}; filename="{stem}.{ending}"'
    return answer


def _secure(response: Response) -> Response:
    pages = _pages_address(_trusted_host()).rstrip("/")
    response.headers["Content-Security-Policy"] = (
        f"default-src 'self'; connect-src 'self' {pages}; object-src 'none'; base-uri 'none'; "
        "form-action 'none'; frame-ancestors 'none'"
    )
    response.headers["X-Content-Type-Options"] = "nosniff"
    response.headers["Referrer-Policy"] = "no-referrer"
    if request.endpoint != "static":
        response.headers["Cache-Control"] = "no-store"
    return response
