"""A standard in plain words, in one language or another."""

from collections.abc import Iterable
from dataclasses import dataclass

from markupsafe import Markup

from audits.messages import Message, Share, Words, say
from audits.plain_words import every_tree, standard_words
from audits.records import Block
from audits.standard import Standard
from audits.vocabulary import STAGE_NAMES, HeadingRule, Stage
from printables.drawing.pictograms import stage_pictogram
from printables.drawing.svg import to_svg
from webapp.reading import LANGUAGE_NAMES, words, words_in

_PICTOGRAM_PX = 72


@dataclass(frozen=True)
class StageSheet:
    """What a standard says of one stage."""

    name: str
    picture: Markup
    headline: str
    steps: list[str]
    leave: list[str]
    promise: str | None


@dataclass(frozen=True)
class Sheet:
    """A standard in the words of one language."""

    language: str
    language_name: str
    stages: list[StageSheet]
    every_tree: list[str]
    leave_heading: str
    every_tree_heading: str


def sheets(standard: Standard, block: Block, region: str) -> list[Sheet]:
    """Return the standard in the reader's language first, then in the others."""
    reader = words()
    others = [
        words_in(code, region=region, units=reader.units)
        for code, _ in LANGUAGE_NAMES
        if code != reader.language
    ]
    return [_sheet(standard, block, speaker) for speaker in (reader, *others)]


def _sheet(standard: Standard, block: Block, speaker: Words) -> Sheet:
    return Sheet(
        language=speaker.language,
        language_name=dict(LANGUAGE_NAMES)[speaker.language],
        stages=[
            StageSheet(
                name=speaker.say(STAGE_NAMES[part.stage]),
                picture=_picture(part.stage, speaker),
                headline=speaker.say(part.headline),
                # The first step often says the headline again.
                steps=_said((step for step in part.steps if step != part.headline), speaker),
                leave=_said(part.leave, speaker),
                promise=_promise(standard, part.stage, speaker),
            )
            for part in standard_words(standard, low_bloom=block.low_bloom)
        ],
        every_tree=_said(every_tree(standard), speaker),
        leave_heading=speaker.say(say("Leave alone")),
        every_tree_heading=speaker.say(say("On every tree")),
    )


def _said(messages: Iterable[Message], speaker: Words) -> list[str]:
    return [speaker.say(message) for message in messages]


def _picture(stage: Stage, speaker: Words) -> Markup:
    drawing = stage_pictogram(stage, speaker.say(STAGE_NAMES[stage]))
    prefix = f"{stage}-{speaker.language}"
    # The drawing layer escapes what it writes.
    return Markup(  # noqa: S704
        to_svg(drawing, id_prefix=prefix, width_px=_PICTOGRAM_PX, decorative=True)
    )


def _promise(standard: Standard, stage: Stage, speaker: Words) -> str | None:
    """Say how many wrong trees a lot may have, unless the stage is not scored."""
    if stage is Stage.HEADING and standard.heading.rule is HeadingRule.OFF:
        return None
    promise = standard.rule(stage).promise
    return speaker.say(
        say(
            "A lot is good with %(acceptable)s wrong trees or fewer, and bad with %(rejectable)s"
            " or more.",
            acceptable=Share(promise.acceptable_fraction),
            rejectable=Share(promise.rejectable_fraction),
        )
    )
