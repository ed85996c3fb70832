"""A standard in plain words, every language beside the other, and what its numbers decide."""

from collections.abc import Iterable
from dataclasses import dataclass

from flask_babel import gettext, ngettext
from markupsafe import Markup

from audits.messages import Message, Share, Words, say
from audits.plain_words import StageWords, every_tree, standard_words
from audits.records import Block
from audits.standard import Standard
from audits.units import Length, LengthKind
from audits.vocabulary import STAGE_NAMES, Stage
from printables.drawing.pictograms import stage_pictogram
from printables.drawing.svg import to_svg
from webapp.reading import LANGUAGE_NAMES, words, words_in

_PICTOGRAM_PX = 72


@dataclass(frozen=True)
class Wording:
    """What is asked at a stage, or on every tree, in one language."""

    language: str
    heading: str
    lead: str | None
    steps: list[str]
    leave_heading: str
    leave: list[str]


@dataclass(frozen=True)
class Part:
    """A stage, or what holds on every tree, in every language."""

    picture: Markup | None
    wordings: list[Wording]


def parts(standard: Standard, block: Block, region: str) -> list[Part]:
    """Return the standard stage by stage, the reader's language first in each."""
    speakers = _speakers(region)
    stages = [
        Part(_picture(stage.stage), [_stage_wording(stage, speaker) for speaker in speakers])
        for stage in standard_words(standard, low_bloom=block.low_bloom)
    ]
    rules = every_tree(standard)
    return [*stages, Part(None, [_rules_wording(rules, speaker) for speaker in speakers])]


def decision_lines(standard: Standard) -> list[tuple[str, str]]:
    """Return what the audit goes by: name and value of each number."""
    reader = words()
    days = standard.audit_within_days
    guard = Length(standard.diameter_guard_mm, LengthKind.DIAMETER)
    return [
        *_promises(standard),
        (
            gettext("A good lot may go back by chance"),
            gettext(
                "in %(share)s of cases, all stages together",
                share=reader.show(Share(standard.producer_risk)),
            ),
        ),
        (
            gettext("A bad lot may pass a stage by chance"),
            gettext("in %(share)s of cases", share=reader.show(Share(standard.consumer_risk))),
        ),
        (
            gettext("Audit a finished row within"),
            ngettext("%(num)s day", "%(num)s days", days),
        ),
        (gettext("A thickness is a fault only beyond its limit by"), reader.show(guard)),
        (
            gettext("Measured by the auditor"),
            ", ".join(
                reader.say(STAGE_NAMES[stage])
                for stage in standard.stages_in_use
                if standard.rule(stage).measured
            )
            or gettext("nothing: each stage is one tap"),
        ),
        *_means(standard),
    ]


def _means(standard: Standard) -> list[tuple[str, str]]:
    """Return which stages go by mean and spread, if any."""
    stages = [words().say(STAGE_NAMES[stage]) for stage in standard.stages_by_mean]
    return [(gettext("Decided by mean and spread"), ", ".join(stages))] if stages else []


def _promises(standard: Standard) -> list[tuple[str, str]]:
    """Return how many wrong trees make a lot good or bad; alike stages share a line."""
    reader = words()
    stages_of: dict[tuple[float, float], list[Stage]] = {}
    for stage in standard.stages_in_use:
        promise = standard.rule(stage).promise
        fractions = (promise.acceptable_fraction, promise.rejectable_fraction)
        stages_of.setdefault(fractions, []).append(stage)
    return [
        (
            ", ".join(reader.say(STAGE_NAMES[stage]) for stage in stages),
            reader.say(
                say(
                    "good with up to %(acceptable)s wrong trees, bad with %(rejectable)s or more",
                    acceptable=Share(acceptable),
                    rejectable=Share(rejectable),
                )
            ),
        )
        for (acceptable, rejectable), stages in stages_of.items()
    ]


def _speakers(region: str) -> list[Words]:
    reader = words()
    return [
        reader,
        *(
            words_in(code, region=region, units=reader.units)
            for code, _ in LANGUAGE_NAMES
            if code != reader.language
        ),
    ]


def _stage_wording(stage: StageWords, speaker: Words) -> Wording:
    return Wording(
        language=speaker.language,
        heading=speaker.say(STAGE_NAMES[stage.stage]),
        lead=speaker.say(stage.steps[0]),
        steps=_said(stage.steps[1:], speaker),
        leave_heading=speaker.say(say("Leave alone")),
        leave=_said(stage.leave, speaker),
    )


def _rules_wording(rules: Iterable[Message], speaker: Words) -> Wording:
    return Wording(
        language=speaker.language,
        heading=speaker.say(say("On every tree")),
        lead=None,
        steps=_said(rules, speaker),
        leave_heading="",
        leave=[],
    )


def _said(messages: Iterable[Message], speaker: Words) -> list[str]:
    return [speaker.say(message) for message in messages]


def _picture(stage: Stage) -> Markup:
    drawing = stage_pictogram(stage, words().say(STAGE_NAMES[stage]))
    # The drawing layer escapes what it writes.
    return Markup(  # noqa: S704
        to_svg(drawing, id_prefix=str(stage), width_px=_PICTOGRAM_PX, decorative=True)
    )
