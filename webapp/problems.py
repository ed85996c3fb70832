"""What is answered when something goes wrong: a page for people, a code and words for a phone."""

from typing import Final

from flask import Flask, Response, current_app, jsonify, make_response, render_template, request
from flask.typing import ResponseReturnValue
from flask_wtf.csrf import CSRFError
from werkzeug.exceptions import HTTPException

from audits.errors import AuditError, Busy, Conflict, InvalidInput, NotAllowed, NotFound
from audits.messages import Message, mark
from webapp.extensions import farm
from webapp.forms import message_text
from webapp.reading import in_every_language

_STATUS: Final = {NotFound: 404, NotAllowed: 403, Conflict: 409, Busy: 503, InvalidInput: 422}
_CODES: Final = {
    400: "bad_request",
    401: "signed_out",
    403: "not_allowed",
    404: "not_found",
    405: "wrong_method",
    409: "conflict",
    411: "length_required",
    413: "too_large",
    422: "invalid",
    503: "busy",
}
_SENTENCES: Final = {
    401: mark("Sign in first."),
    403: mark("Your sign-in is not for this page."),
    404: mark("There is no such page."),
    405: mark("This page cannot be used that way."),
    413: mark("What was sent is too large."),
    500: mark("Something went wrong here. Nothing was saved."),
}
_UNCLEAR: Final = mark("The request could not be understood.")
_STALE: Final = mark("This page was open too long. Go back, reload it and send it again.")

# Whoever is told to wait comes back after this long.
RETRY_AFTER_S: Final = 5
# Below these addresses a phone asks, and reads no page; the addresses themselves are pages.
_OF_PHONES: Final = ("/field/", "/practice/")


def handle_problems(app: Flask) -> None:
    """Register the handlers."""

    @app.errorhandler(AuditError)
    def _known(error: AuditError) -> ResponseReturnValue:
        status = _STATUS.get(type(error), 422)
        answer = _answer(error.message, status)
        if isinstance(error, Busy):
            answer.headers["Retry-After"] = str(RETRY_AFTER_S)
        return answer

    @app.errorhandler(CSRFError)
    def _stale(_error: CSRFError) -> ResponseReturnValue:
        return _answer(_STALE, 400, code="stale_token")

    @app.errorhandler(HTTPException)
    def _http(error: HTTPException) -> ResponseReturnValue:
        status = error.code or 500
        return _answer(_SENTENCES.get(status, _UNCLEAR), status)

    @app.errorhandler(Exception)
    def _unknown(error: Exception) -> ResponseReturnValue:
        app.logger.error("unexpected error", exc_info=error)
        return _answer(_SENTENCES[500], 500)


def asks_as_a_phone() -> bool:
    """Tell whether the request wants a code and words rather than a page."""
    return request.path.startswith(_OF_PHONES) and request.path not in _OF_PHONES


def _answer(sentence: Message | str, status: int, *, code: str | None = None) -> Response:
    if asks_as_a_phone():
        problem = code or _CODES.get(status, "failed")
        answer = jsonify(problem=problem, words=_in_every_language(sentence))
    else:
        answer = make_response(_page(sentence, status))
    answer.status_code = status
    return answer


def _in_every_language(sentence: Message | str) -> dict[str, str]:
    try:
        return in_every_language(farm(), sentence)
    except Exception:
        # The farm says in what region and units; without a database there is none.
        current_app.logger.exception("the words of an error failed")
        return {"en": str(sentence)}


def _page(sentence: Message | str, status: int) -> str:
    try:
        return render_template("error.html", sentence=message_text(sentence), status=status)
    except Exception:
        # The page needs the farm; without a database the bare sentence is all there is.
        current_app.logger.exception("the page of an error failed")
        return str(sentence)
