"""Photos of paper sheets: sent, looked at, and kept once a person has confirmed them."""

from dataclasses import replace

from flask import Blueprint, Flask, flash, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue
from flask_babel import gettext, ngettext
from werkzeug.datastructures import FileStorage

from audits.errors import AuditError, Conflict, InvalidInput
from audits.messages import say
from audits.quiz_letters import letters_of
from audits.quizzes import VARIANTS, Quiz
from audits.records import SheetPhoto, Worker
from audits.services import sheet_photos
from audits.services.quiz_attempts import quiz_of, record_attempt
from audits.services.quiz_results import view_result
from audits.storage.queries import farms as farm_queries
from audits.vocabulary import SheetKind
from printables.answer_sheet import LETTERS, chosen_answers
from webapp.access import CREW_LEADS, actor, open_to
from webapp.extensions import database, present, today
from webapp.field.pictures import picture_answer
from webapp.forms import message_text
from webapp.papers.answers import (
    FoundSheet,
    as_printed,
    likely_variant,
    marked_answers,
    sheet_of_photo,
    worker_words,
)
from webapp.papers.forms import NOBODY, AnswersForm, PhotosForm, answers_form, question_name
from webapp.papers.photos import (
    MARKED,
    OTHER_QUIZ,
    UNSURE,
    cut_out,
    meaning_check,
    read_photo,
    reading_of,
)
from webapp.papers.presenters import photo_lines
from webapp.quizzes.presenters import chance_sentence

blueprint = Blueprint("papers", __name__, url_prefix="/papers")

# A phone's photo has up to about 8 MB; several pages of a sheet come together.
_MOST_BYTES = 15_000_000
_MOST_REQUEST_BYTES = 60_000_000
# More pages than any sheet has; small files may be long to unpack.
_MOST_PHOTOS = 20


def take_large_photos(app: Flask) -> None:
    """Let photos of sheets be larger than any other request, for those who are signed in."""

    @app.before_request
    def _allow() -> None:
        if request.endpoint == "papers.take":
            request.max_content_length = _MOST_REQUEST_BYTES


@blueprint.get("")
@open_to(CREW_LEADS)
def index() -> ResponseReturnValue:
    """Ask for photos, and list those that wait to be confirmed."""
    return _index(PhotosForm(formdata=None))


@blueprint.post("")
@open_to(CREW_LEADS)
def take() -> ResponseReturnValue:
    """Read photos; each that can be read is kept, and each other says why not."""
    form = PhotosForm()
    if not form.validate():
        return _index(form), 422
    if len(form.photos.data) > _MOST_PHOTOS:
        form.photos.errors = [gettext("Send at most %(most)s photos at a time.", most=_MOST_PHOTOS)]
        return _index(form), 422
    kept = []
    problems = []
    for photo in form.photos.data:
        try:
            kept.append(_kept(photo))
        except AuditError as error:
            problems.append((photo.filename or "", message_text(error.message)))
    if problems:
        form.photos.errors = [f"{name}: {sentence}" for name, sentence in problems]
        if kept:
            count = len(kept)
            flash(ngettext("%(num)s photo read.", "%(num)s photos read.", count), "message")
        return _index(form), 422
    if len(kept) == 1:
        return redirect(url_for("papers.show", photo_id=kept[0].id))
    return redirect(url_for("papers.index"))


@blueprint.get("/<int:photo_id>")
@open_to(CREW_LEADS)
def show(photo_id: int) -> ResponseReturnValue:
    """Show what was read off a photo, to be confirmed."""
    photo = _photo(photo_id)
    if photo.kind is SheetKind.TALLY:
        url = url_for("auditing.desk", audit_id=photo.audit_id, photo=photo.id)
        return redirect(url)
    if photo.quiz_attempt_id is not None:
        return _result(photo, photo.quiz_attempt_id)
    found = _sheet_as_read(photo)
    quiz = quiz_of(database(), actor(), found.paper)
    return _answers(photo, found, quiz, _as_read(photo, found, quiz))


@blueprint.post("/<int:photo_id>")
@open_to(CREW_LEADS)
def confirm(photo_id: int) -> ResponseReturnValue:
    """Keep the answers of a quiz as a person confirmed them."""
    photo = _photo(photo_id)
    found = _sheet_as_read(photo)
    quiz = quiz_of(database(), actor(), found.paper)
    form = answers_form(quiz, _workers())
    if not form.validate():
        return _answers(photo, found, quiz, form), 422
    try:
        record_attempt(
            database(),
            actor(),
            found.paper,
            form.worker_id.data,
            form.answers(quiz),
            taken_on=form.day(),
            now=present(),
            photo_id=photo.id,
            taken_again=form.taken_again.data,
        )
    except InvalidInput as error:
        form.add_problems(error)
        return _answers(photo, found, quiz, form), 422
    return redirect(url_for("papers.show", photo_id=photo.id))


@blueprint.post("/<int:photo_id>/aside")
@open_to(CREW_LEADS)
def set_aside(photo_id: int) -> ResponseReturnValue:
    """Settle a photo from which nothing is to be kept; the photo stays."""
    sheet_photos.settle_photo(database(), actor(), photo_id, now=present())
    flash(gettext("Set aside. The photo stays with what it belongs to."), "message")
    return redirect(url_for("papers.index"))


@blueprint.get("/<int:photo_id>/photo.jpg")
@open_to(CREW_LEADS)
def picture(photo_id: int) -> ResponseReturnValue:
    """Show the photo itself."""
    return picture_answer(
        sheet_photos.sheet_photo_content(database(), actor(), photo_id, now=present())
    )


@blueprint.get("/<int:photo_id>/boxes/<group>.jpg")
@open_to(CREW_LEADS)
def boxes(photo_id: int, group: str) -> ResponseReturnValue:
    """Show the boxes of one question, cut out of the photo."""
    return picture_answer(cut_out(_photo(photo_id), group))


def _kept(photo: FileStorage) -> SheetPhoto:
    content = photo.read(_MOST_BYTES + 1)
    if len(content) > _MOST_BYTES:
        raise InvalidInput({"photos": say("The photo is too large. Take it at a lower size.")})
    read = read_photo(content)
    return sheet_photos.keep_sheet_photo(database(), actor(), read, now=present())


def _photo(photo_id: int) -> SheetPhoto:
    return sheet_photos.view_sheet_photo(database(), actor(), photo_id, now=present())


def _index(form: PhotosForm) -> str:
    waiting = sheet_photos.waiting_photos(database(), actor())
    return render_template("papers/index.html", form=form, waiting=photo_lines(waiting))


def _workers() -> list[Worker]:
    with database().read() as connection:
        return farm_queries.workers(connection, actor().farm_id)


def _sheet_as_read(photo: SheetPhoto) -> FoundSheet:
    """
    Return the sheet of a photo with its items of that time, of the variant that was handed out.

    Raises Conflict if its quiz asks something else than it did when the photo was read.
    """
    found = sheet_of_photo(photo)
    meaning = reading_of(photo).meaning
    paper = as_printed(found, lambda quiz: meaning_check(letters_of(quiz)) == meaning)
    if paper is None:
        raise Conflict(OTHER_QUIZ)
    asked = request.args.get("variant", "")
    return replace(found, paper=replace(paper, variant=asked) if asked in VARIANTS else paper)


def _as_read(photo: SheetPhoto, found: FoundSheet, quiz: Quiz) -> AnswersForm:
    """Return the form filled in as far as the marks are clear."""
    reading = reading_of(photo)
    unsure = {key.partition(".")[0] for key in reading.keys(UNSURE)}
    chosen = chosen_answers(reading.keys(MARKED), quiz)
    answers = {
        question_name(number): LETTERS[place]
        for number, place in enumerate(chosen.places, start=1)
        if place is not None and question_name(number) not in unsure
    }
    worker_id = found.worker.id if found.worker else NOBODY
    data = {"worker_id": worker_id, "taken_on": today(), **answers}
    return answers_form(quiz, _workers(), formdata=None, data=data)


def _answers(photo: SheetPhoto, found: FoundSheet, quiz: Quiz, form: AnswersForm) -> str:
    printed = sheet_of_photo(photo).paper.variant
    return render_template(
        "papers/answers.html",
        photo=photo,
        found=found,
        form=form,
        questions=list(zip(form.questions(quiz), quiz.questions, strict=True)),
        groups=reading_of(photo).groups,
        printed_variant=printed,
        likely_variant=likely_variant(found.paper, reading_of(photo).keys(MARKED)),
        other_variants=[variant for variant in VARIANTS if variant != found.paper.variant],
    )


def _result(photo: SheetPhoto, attempt_id: int) -> str:
    found = view_result(database(), actor(), attempt_id)
    return render_template(
        "papers/result.html",
        photo=photo,
        result=found,
        printed_variant=sheet_of_photo(photo).paper.variant,
        person=worker_words(found.worker),
        chance=chance_sentence(found),
        answers=marked_answers(found.questions),
    )
