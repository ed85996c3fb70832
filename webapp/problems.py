"""One page for everything that can go wrong, in the reader's words."""

from flask import Flask, current_app, render_template
from flask.typing import ResponseReturnValue
from flask_babel import gettext
from flask_wtf.csrf import CSRFError
from werkzeug.exceptions import HTTPException

from audits.errors import AuditError, Busy, Conflict, InvalidInput, NotAllowed, NotFound
from webapp.forms import message_text

_STATUS = {NotFound: 404, NotAllowed: 403, Conflict: 409, Busy: 503, InvalidInput: 422}


def handle_problems(app: Flask) -> None:
    """Register the handlers."""

    @app.errorhandler(AuditError)
    def _known(error: AuditError) -> ResponseReturnValue:
        status = _STATUS.get(type(error), 422)
        headers = {"Retry-After": "5"} if isinstance(error, Busy) else {}
        return _page(message_text(error.message), status), status, headers

    @app.errorhandler(CSRFError)
    def _stale(_error: CSRFError) -> ResponseReturnValue:
        sentence = gettext("This page was open too long. Go back, reload it and send it again.")
        return _page(sentence, 400), 400

    @app.errorhandler(HTTPException)
    def _http(error: HTTPException) -> ResponseReturnValue:
        status = error.code or 500
        sentences = {
            403: gettext("Your sign-in is not for this page."),
            404: gettext("There is no such page."),
            405: gettext("This page cannot be used that way."),
            413: gettext("What was sent is too large."),
        }
        sentence = sentences.get(status, gettext("The request could not be understood."))
        return _page(sentence, status), status

    @app.errorhandler(Exception)
    def _unknown(error: Exception) -> ResponseReturnValue:
        app.logger.error("unexpected error", exc_info=error)
        return _page(gettext("Something went wrong here. Nothing was saved."), 500), 500


def _page(sentence: str, status: int) -> str:
    try:
        return render_template("error.html", sentence=sentence, status=status)
    except Exception:
        # The page needs the farm; without a database the bare sentence is all there is.
        current_app.logger.exception("the page of an error failed")
        return sentence
