"""Coaching as the pages show it: pictures, short words, counts."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from flask_babel import gettext, ngettext
from markupsafe import Markup

from audits.coaching_words import (
    FAULT_WORDS,
    REASON_WORDS,
    card_words,
    left_out_words,
    practice_words,
)
from audits.messages import Message
from audits.plain_words import chance_words, sign_off_words, stage_words
from audits.records import TrainingEvent
from audits.services.coaching import CoachingView, CrewView
from audits.services.coaching import SeenFault as Seen
from audits.services.contesting import contested_sentence
from audits.services.sign_offs import LearningView, StageProgress
from audits.services.training import WINDOWS, TrainingList
from audits.standard import Standard
from audits.training_effect import BeforeAfter, by_itself
from audits.vocabulary import FAULT_NAMES, STAGE_NAMES, TRAINING_KIND_NAMES, Method, Stage
from printables.drawing.pictograms import stage_pictogram
from printables.drawing.primitives import Drawing
from printables.drawing.svg import to_svg
from printables.fault_pictures import fault_picture
from printables.stage_pictures import stage_picture
from webapp.coaching.papers import name_of
from webapp.extensions import farm_day
from webapp.reading import words

_PICTOGRAM_PX: Final = 72
_PICTURE_PX: Final = 240


@dataclass(frozen=True)
class FaultView:
    """A fault with its picture, and what to say about it."""

    picture: Markup | None
    name: str
    trees: str
    why: str
    instead: str


@dataclass(frozen=True)
class RightView:
    """What right looks like in one stage."""

    name: str
    picture: Markup
    headline: str
    steps: list[str]


@dataclass(frozen=True)
class CoachingPage:
    """A worker's coaching sheet."""

    works_on_it: bool
    stage: str
    pictogram: Markup | None
    reason: str
    reading: str
    faults: list[FaultView]
    right: list[RightView]
    where: str
    card: str
    practice: str
    latest: Sequence[bool]
    since: str
    trained: list[str]
    learning: str
    contested: str
    left_out: list[str]


@dataclass(frozen=True)
class ProgressView:
    """How far somebody is with one stage."""

    stage: Stage
    name: str
    state: str
    is_open: bool
    is_signed: bool
    lines: list[str]
    window: Sequence[bool]
    window_words: str
    rule: str
    chances: list[str]
    may_sign: bool
    still_meets: bool


@dataclass(frozen=True)
class CrewStageView:
    """A stage of a crew."""

    name: str
    pictogram: Markup
    reading: str
    faults: list[FaultView]


@dataclass(frozen=True)
class EffectView:
    """Before and after, in words."""

    counts: list[str]
    sentences: list[str]


@dataclass(frozen=True)
class EventView:
    """A training in the list."""

    id: int
    worker_id: int
    who: str
    what: str
    note: str


def coaching_page(view: CoachingView) -> CoachingPage:
    """Return a worker's sheet as the page shows it."""
    reader = words()
    stage = view.choice.stage or view.choice.went_well
    works_on_it = view.choice.stage is not None
    standard = view.standard
    where = ""
    if view.block is not None and view.version is not None:
        where = gettext(
            "%(block)s, standard %(version)s", block=view.block.name, version=view.version.version
        )
    shown = [] if standard is None else [stage] if stage else list(standard.stages_in_use)
    return CoachingPage(
        works_on_it=works_on_it,
        stage=reader.say(STAGE_NAMES[stage]) if stage else "",
        pictogram=_pictogram(stage) if stage else None,
        reason=reader.say(REASON_WORDS[view.choice.reason]),
        reading=reader.say(view.reading.sentence) if view.reading else "",
        faults=_faults(view.faults, standard) if works_on_it else [],
        right=[
            _right(each, standard, view.method)
            for each in shown
            if each is not None and standard is not None
        ],
        where=where,
        card=reader.say(card_words(view.choice.stage)) if view.choice.stage else "",
        practice=reader.say(practice_words()),
        latest=view.latest,
        since=_since(view),
        trained=[training_words(event) for event in view.trained],
        learning=reader.say(STAGE_NAMES[view.learning]) if view.learning else "",
        contested=contested_words(view.contested),
        left_out=left_out_lines(view.left_out),
    )


def contested_words(trees: int) -> str:
    """Say how many trees of a reading are contested; empty where none is."""
    said = contested_sentence(trees)
    return words().say(said) if said else ""


def left_out_lines(left_out: Mapping[Stage, int]) -> list[str]:
    """Say how many trees are in no count because of who scored them."""
    return _said(left_out_words(left_out))


def crew_stages(view: CrewView) -> list[CrewStageView]:
    """Return a crew's stages as the page shows them."""
    reader = words()
    return [
        CrewStageView(
            name=reader.say(STAGE_NAMES[line.stage]),
            pictogram=_pictogram(line.stage),
            reading=reader.say(line.reading.sentence) if line.reading else "",
            faults=_faults(line.faults, view.standard, prefix=f"{line.stage}-"),
        )
        for line in view.stages
    ]


def crew_trainings(view: CrewView) -> list[str]:
    """Return the latest trainings of a crew, in words."""
    reader = words()
    return [
        ngettext(
            "%(day)s, %(stage)s: %(kind)s (%(num)s person).",
            "%(day)s, %(stage)s: %(kind)s (%(num)s people).",
            people,
            day=reader.show(event.held_on),
            stage=reader.say(STAGE_NAMES[event.stage]),
            kind=reader.say(TRAINING_KIND_NAMES[event.kind]),
        )
        for event, people in view.trained
    ]


def stage_names(stages: Iterable[Stage]) -> str:
    """Return names of stages in one line."""
    return ", ".join(words().say(STAGE_NAMES[stage]) for stage in stages)


def progress_views(view: LearningView) -> list[ProgressView]:
    """Return each stage of a learner as the page shows it."""
    return [_progress(progress, view) for progress in view.stages]


def _progress(progress: StageProgress, view: LearningView) -> ProgressView:
    reader = words()
    learning = progress.learning
    signed = learning is not None and learning.signed_off_at is not None
    chances: list[str] = []
    if progress.rule is not None and progress.promise is not None:
        chances = [reader.say(said) for said in chance_words(progress.rule, progress.promise)]
    return ProgressView(
        stage=progress.stage,
        name=reader.say(STAGE_NAMES[progress.stage]),
        state=_state(progress),
        is_open=progress.is_open,
        is_signed=signed,
        lines=_progress_lines(progress, view),
        window=progress.window if progress.is_open else (),
        window_words=latest_words(progress.window),
        rule=reader.say(sign_off_words(progress.rule)) if progress.rule else "",
        chances=chances,
        may_sign=progress.is_open and progress.met_at is not None,
        still_meets=_still_meets(progress),
    )


def _state(progress: StageProgress) -> str:
    if progress.learning is None:
        return str(gettext("Not begun"))
    if not progress.is_open:
        return str(gettext("Signed off"))
    return str(gettext("Being learned"))


def _progress_lines(progress: StageProgress, view: LearningView) -> list[str]:
    reader = words()
    learning = progress.learning
    if learning is None:
        return []
    lines = [
        gettext(
            "Begun on %(day)s by %(name)s.",
            day=reader.show(learning.begun_on),
            name=view.people.get(learning.begun_by, ""),
        )
    ]
    if learning.signed_off_at is not None:
        lines.append(
            gettext(
                "Signed off on %(day)s by %(name)s: %(wrong)s of %(trees)s trees wrong.",
                day=reader.show(farm_day(learning.signed_off_at)),
                name=view.people.get(learning.signed_off_by or 0, ""),
                wrong=learning.nonconforming,
                trees=learning.trees,
            )
        )
        return lines
    due, wrong = len(progress.outcomes), sum(progress.outcomes)
    lines.append(
        ngettext(
            "%(wrong)s of %(num)s due tree wrong so far.",
            "%(wrong)s of %(num)s due trees wrong so far.",
            due,
            wrong=wrong,
        )
    )
    lines += left_out_lines({progress.stage: progress.left_out})
    return [*lines, *_met(progress)]


def _met(progress: StageProgress) -> list[str]:
    if progress.rule is None:
        return [str(gettext("The crew has no pass yet, so no standard says when it is learned."))]
    if progress.met_at is None:
        missing = progress.rule.trees - len(progress.outcomes)
        if missing > 0:
            return [
                ngettext(
                    "At least %(num)s more due tree is needed.",
                    "At least %(num)s more due trees are needed.",
                    missing,
                )
            ]
        return [str(gettext("The rule is not met yet. Go on."))]
    lines = [str(gettext("The rule was met with tree %(tree)s.", tree=progress.met_at))]
    later = progress.since_met
    if later:
        lines.append(
            ngettext(
                "Since then %(wrong)s of %(num)s tree wrong.",
                "Since then %(wrong)s of %(num)s trees wrong.",
                len(later),
                wrong=sum(later),
            )
        )
    if not _still_meets(progress):
        lines.append(
            gettext("The last trees do not meet it any more: look at some together before.")
        )
    return lines


def _still_meets(progress: StageProgress) -> bool:
    """Tell whether the latest trees meet the rule, which was met once."""
    rule = progress.rule
    return rule is not None and sum(progress.window) <= rule.most_nonconforming


def latest_words(latest: Sequence[bool]) -> str:
    """Say what tiles show; on a phone they fill several lines."""
    return str(
        ngettext(
            "The last %(num)s tree",
            "The last %(num)s trees, the newest at the end",
            len(latest),
        )
    )


def effect_view(effect: BeforeAfter) -> EffectView:
    """Return before and after, in words."""
    return EffectView(_said(effect.counts), _said(effect.sentences))


def effects_by_kind(found: TrainingList) -> list[tuple[str, EffectView]]:
    """Return before and after for each kind of training."""
    return [
        (words().say(TRAINING_KIND_NAMES[kind]), effect_view(effect))
        for kind, effect in found.by_kind.items()
    ]


def warning() -> list[str]:
    """Return what stands beside every before and after."""
    return _said(by_itself())


def event_views(found: TrainingList) -> list[EventView]:
    """Return the trainings of a season, the latest first."""
    return [
        EventView(
            event.id,
            event.worker_id,
            name_of(found.workers[event.worker_id]),
            f"{words().say(STAGE_NAMES[event.stage])}, {training_words(event)}",
            event.note,
        )
        for event in found.events
    ]


def window_choices(chosen: int | None) -> list[tuple[str, str, bool]]:
    """Return the lengths of time that may be compared: value, words, whether chosen."""
    return [
        (
            str(days or ""),
            gettext("All of the season")
            if days is None
            else gettext("%(days)s days on each side", days=days),
            days == chosen,
        )
        for days in WINDOWS
    ]


def training_words(event: TrainingEvent) -> str:
    """Return day and kind of a training."""
    return f"{words().show(event.held_on)}: {words().say(TRAINING_KIND_NAMES[event.kind])}"


def _since(view: CoachingView) -> str:
    if view.since is None:
        return ""
    before, after = view.since.before, view.since.after
    return str(
        gettext(
            "Before %(day)s: %(wrong_before)s of %(before)s trees wrong. "
            "Since then: %(wrong_after)s of %(after)s.",
            day=words().show(view.since.event.held_on),
            wrong_before=before[0],
            before=before[1],
            wrong_after=after[0],
            after=after[1],
        )
    )


def _faults(faults: Iterable[Seen], standard: Standard | None, prefix: str = "") -> list[FaultView]:
    reader = words()
    return [
        FaultView(
            picture=(
                _svg(fault_picture(standard, seen.fault, reader), f"{prefix}fault-{seen.fault}")
                if standard
                else None
            ),
            name=reader.say(FAULT_NAMES[seen.fault]),
            trees=(
                ""
                if seen.trees is None
                else ngettext("on %(num)s tree", "on %(num)s trees", seen.trees)
            ),
            why=reader.say(FAULT_WORDS[seen.fault].why),
            instead=reader.say(FAULT_WORDS[seen.fault].instead),
        )
        for seen in faults
    ]


def _right(stage: Stage, standard: Standard, method: Method) -> RightView:
    reader = words()
    said = stage_words(standard, stage, method=method)
    return RightView(
        name=reader.say(STAGE_NAMES[stage]),
        picture=_svg(stage_picture(standard, stage, reader, method=method), f"right-{stage}"),
        headline=reader.say(said.headline),
        steps=_said(said.steps[1:]),
    )


def _said(messages: Iterable[Message]) -> list[str]:
    return [words().say(message) for message in messages]


def _pictogram(stage: Stage) -> Markup:
    drawing = stage_pictogram(stage, words().say(STAGE_NAMES[stage]))
    return _markup(to_svg(drawing, id_prefix=stage, width_px=_PICTOGRAM_PX, decorative=True))


def _svg(drawing: Drawing, prefix: str) -> Markup:
    return _markup(to_svg(drawing, id_prefix=prefix, width_px=_PICTURE_PX))


def _markup(svg: str) -> Markup:
    # The drawing layer escapes what it writes.
    return Markup(svg)  # noqa: S704
