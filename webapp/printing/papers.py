"""What every printed thing shares: the paper, and the answer that carries it."""

from flask import Response, request

from printables.sheet import SHEET_PAGES, Page
from webapp.extensions import farm


def usual_page() -> Page:
    """Return the paper that is usual in the farm's region; people choose another on the form."""
    return Page.LETTER if farm().region in {"US", "CA", "MX"} else Page.A4


def usual_pages() -> tuple[Page, Page]:
    """Return the papers that are usual in the farm's region, for sheets and for the wall."""
    if usual_page() is Page.LETTER:
        return Page.LETTER, Page.TABLOID
    return Page.A4, Page.A3


def asked_page() -> Page:
    """Return the paper that the address asks for, else the usual one."""
    asked = request.args.get("page")
    return Page(asked) if asked in set(SHEET_PAGES) else usual_page()


def pdf_answer(document: bytes, name: str) -> Response:
    """Answer with a PDF that opens in the browser."""
    return Response(
        document,
        mimetype="application/pdf",
        headers={"Content-Disposition": f'inline; filename="{name}.pdf"'},
    )
