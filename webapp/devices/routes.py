"""The list of phones, the offer to enrol one, and revoking."""

import io
from typing import Final
from urllib.parse import urlsplit

import segno
from flask import Blueprint, flash, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue
from flask_babel import gettext
from markupsafe import Markup

from audits.errors import InvalidInput, NotFound
from audits.messages import say
from audits.services import devices
from audits.services.devices import OFFER_LENGTH
from webapp.access import CREW_LEADS, actor, open_to, refuse_phone
from webapp.devices.presenters import minutes_left, person_views
from webapp.extensions import database, present
from webapp.forms import message_text
from webapp.ids import record_id

blueprint = Blueprint("devices", __name__, url_prefix="/devices")

# Addresses that mean the machine itself, wherever they are opened.
_OWN_HOSTS: Final = frozenset({"localhost", "127.0.0.1", "::1"})


@blueprint.get("")
@open_to(CREW_LEADS)
def index() -> ResponseReturnValue:
    """Show who has which phones."""
    return render_template(
        "devices/index.html", people=person_views(devices.devices(database(), actor()))
    )


@blueprint.post("")
@open_to(CREW_LEADS)
def offer() -> ResponseReturnValue:
    """Show a QR code by which one phone is enrolled; its token is shown this once."""
    refuse_phone(say("Sign in with your password to enrol a phone."))
    user_id = request.form.get("user_id", type=record_id)
    now = present()
    people = {person.user.id: person.user for person in devices.devices(database(), actor())}
    if user_id not in people:
        raise NotFound(say("There is no such account."))
    try:
        token = devices.offer_enrolment(database(), actor(), user_id=user_id, now=now)
    except InvalidInput as error:
        flash(message_text(error.message), "problem")
        return redirect(url_for("devices.index"))
    address = f"{request.url_root}field/#enrol={token}"
    return render_template(
        "devices/offer.html",
        person=people[user_id].name,
        address=address,
        token=token,
        code=_qr_code(address),
        until=now + OFFER_LENGTH,
        length=minutes_left(now + OFFER_LENGTH, now),
        hindrance=_hindrance(address),
    )


@blueprint.post("/<int:device_id>/revoke")
@open_to(CREW_LEADS)
def revoke(device_id: int) -> ResponseReturnValue:
    """Revoke a phone."""
    revoked = devices.revoke_device(database(), actor(), device_id, present())
    flash(gettext("%(name)s was revoked.", name=revoked.name), "message")
    return redirect(url_for("devices.index"))


def _qr_code(address: str) -> Markup:
    """Return the QR code as markup: segno writes the drawing, and no part of the address."""
    drawing = io.BytesIO()
    segno.make(address, error="m", micro=False).save(
        drawing,
        kind="svg",
        xmldecl=False,
        svgns=False,
        omitsize=True,
        nl=False,
        # Light modules too: read on any ground. Four modules of margin: ISO/IEC 18004, 9.1.
        light="#fff",
        border=4,
        svgclass="qr-code",
        lineclass=None,
    )
    return Markup(drawing.getvalue().decode())  # noqa: S704 - nothing in it comes from a person


def _hindrance(address: str) -> str | None:
    """Return why a phone could not use the address, if that is known."""
    parts = urlsplit(address)
    if parts.hostname in _OWN_HOSTS:
        return str(
            gettext(
                "This page was opened on the machine itself: no phone can reach this address. Open "
                "it by the machine's name on the farm's network, then offer again."
            )
        )
    if parts.scheme != "https":
        return str(
            gettext(
                "This page was opened without https: a phone can be enrolled over https only. Open "
                "it by its https address, then offer again."
            )
        )
    return None
