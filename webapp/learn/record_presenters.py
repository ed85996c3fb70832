"""What stands on a training record, as the page shows it."""

from dataclasses import dataclass
from datetime import date, datetime
from typing import Final

from flask import url_for
from flask_babel import format_date, gettext

from audits.services.briefings import BRIEFED_METHODS, standing_on
from audits.services.sign_offs import StageProgress
from audits.services.training_records import TrainingRecordView
from audits.vocabulary import (
    METHOD_NAMES,
    STAGE_NAMES,
    TRAINING_KIND_NAMES,
    Method,
    QuizSource,
)
from webapp.extensions import farm_day
from webapp.learn.brief_presenters import Chip, chip_of
from webapp.reading import LANGUAGE_NAMES, words

_LANGUAGES: Final = dict(LANGUAGE_NAMES)


@dataclass(frozen=True)
class RecordLine:
    """A line of a record: what, more about it, how it stands, and where it leads."""

    title: str
    notes: list[str]
    chip: Chip | None = None
    url: str | None = None


def stage_lines(view: TrainingRecordView) -> list[RecordLine]:
    """Return the stages from the top of the tree down, and how far each is learned."""
    return [_stage_line(progress, view) for progress in view.learning.stages]


def training_lines(view: TrainingRecordView) -> list[RecordLine]:
    """Return what was shown in the row and elsewhere, the latest first."""
    return [
        RecordLine(
            words().say(STAGE_NAMES[event.stage]),
            [
                gettext(
                    "%(how)s, %(day)s; noted by %(name)s",
                    how=words().say(TRAINING_KIND_NAMES[event.kind]),
                    day=_day(event.held_on),
                    name=view.people.get(event.noted_by, ""),
                ),
                *([event.note] if event.note else []),
            ],
        )
        for event in view.events
    ]


def practice_lines(view: TrainingRecordView) -> list[RecordLine]:
    """Return what was practised on drawn trees, then how each stage of them went."""
    counts = [
        RecordLine(
            (
                gettext("Drawn trees pruned: %(count)s", count=words().show(line.trees))
                if line.is_pruned
                else gettext("Drawn trees judged: %(count)s", count=words().show(line.trees))
            ),
            [
                gettext(
                    "%(first)s to %(last)s, in %(language)s",
                    first=_farm_day(line.first_at),
                    last=_farm_day(line.last_at),
                    language=_LANGUAGES[line.language],
                )
            ],
        )
        for line in view.practised
    ]
    stages = [
        gettext(
            "%(stage)s: %(right)s of %(done)s right",
            stage=words().say(STAGE_NAMES[stage.stage]),
            right=words().show(stage.right),
            done=words().show(stage.done),
        )
        for stage in view.practised_stages
    ]
    if stages:
        counts.append(RecordLine(gettext("Stages of pruned trees"), stages))
    return counts


def quiz_lines(view: TrainingRecordView) -> list[RecordLine]:
    """Return the quizzes, the latest first."""
    return [
        RecordLine(
            gettext("%(day)s, %(block)s", day=_day(line.attempt.taken_on), block=line.block),
            [
                gettext(
                    "%(correct)s of %(questions)s right, in %(language)s, %(how)s",
                    correct=words().show(line.attempt.correct),
                    questions=words().show(line.attempt.questions),
                    language=_LANGUAGES[line.attempt.language],
                    how=(
                        gettext("on paper")
                        if line.attempt.source is QuizSource.PAPER
                        else gettext("on a screen")
                    ),
                )
            ],
            _passed(is_passed=line.is_passed),
            url_for("quizzes.result", attempt_id=line.attempt.id),
        )
        for line in view.attempts
    ]


def brief_lines(view: TrainingRecordView, day: date) -> list[RecordLine]:
    """Return how the person stands with each method that needs a brief, then older briefs."""
    worker = view.learning.worker
    standings = [standing_on(worker, method, view.briefings, day) for method in BRIEFED_METHODS]
    shown = {standing.briefing.id for standing in standings if standing.briefing is not None}
    lines = [
        RecordLine(
            words().say(METHOD_NAMES[standing.method]),
            [] if standing.briefing is None else [_held(view, standing.briefing.id)],
            # Not everybody climbs: that no brief was noted is bad only where somebody would start.
            Chip("waiting", gettext("None noted"), "open")
            if standing.briefing is None
            else chip_of(standing),
        )
        for standing in standings
    ]
    return lines + [
        RecordLine(_method(briefing.method), [_held(view, briefing.id)])
        for briefing in view.briefings
        if briefing.id not in shown
    ]


def _held(view: TrainingRecordView, briefing_id: int) -> str:
    briefing = next(each for each in view.briefings if each.id == briefing_id)
    return str(
        gettext(
            "Held on %(day)s in %(language)s, until %(until)s; noted by %(name)s",
            day=_day(briefing.held_on),
            language=_LANGUAGES[briefing.language],
            until=_day(briefing.holds_until),
            name=view.people.get(briefing.noted_by, ""),
        )
    )


def _stage_line(progress: StageProgress, view: TrainingRecordView) -> RecordLine:
    name = words().say(STAGE_NAMES[progress.stage])
    learning = progress.learning
    if learning is None:
        return RecordLine(name, [], Chip("waiting", gettext("Not begun"), "open"))
    begun_by = view.people.get(learning.begun_by, "")
    begun = gettext("Begun on %(day)s by %(name)s", day=_day(learning.begun_on), name=begun_by)
    notes = [begun]
    if learning.signed_off_at is None:
        return RecordLine(name, notes, Chip("begun", gettext("Being learned"), "open"))
    notes.append(
        gettext(
            "Signed off on %(day)s by %(name)s",
            day=_farm_day(learning.signed_off_at),
            name=view.people.get(learning.signed_off_by or 0, ""),
        )
    )
    return RecordLine(name, notes, Chip("right", gettext("Signed off"), "good"))


def _passed(*, is_passed: bool | None) -> Chip | None:
    if is_passed is None:
        return None
    if is_passed:
        return Chip("right", gettext("Passed"), "good")
    return Chip("back", gettext("Not passed yet"), "open")


def _method(method: Method) -> str:
    return words().say(METHOD_NAMES[method])


def _farm_day(moment: datetime) -> str:
    return _day(farm_day(moment))


def _day(day: date) -> str:
    return str(format_date(day, "medium"))
