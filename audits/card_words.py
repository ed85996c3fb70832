"""The words of a pocket card: few, verb first, each sentence at most ten words."""

from dataclasses import dataclass

from audits.messages import Message, say, say_n
from audits.plain_words import (
    LEVEL_WITH_WIRE_MM,
    Band,
    just,
    sick_wood,
    stage_words,
)
from audits.standard import Standard
from audits.units import Length, LengthKind
from audits.vocabulary import HeadingRule, Method, Stage


@dataclass(frozen=True)
class StageLine:
    """
    One stage on a card.

    Parameters
    ----------
    stage : Stage
        The stage.
    key : Message
        What must be found at a glance.
    limit : Message or None
        A few words with the limit.
    """

    stage: Stage
    key: Message
    limit: Message | None


def stage_line(standard: Standard, stage: Stage, *, method: Method = Method.LADDER) -> StageLine:
    """
    Say a stage in a few words.

    Parameters
    ----------
    standard : Standard
        The block's rule.
    stage : Stage
        The stage.
    method : Method, optional
        How the crew works.

    Returns
    -------
    StageLine
        The words of a card with room for about sixty.
    """
    said = stage_words(standard, stage, method=method)
    return StageLine(stage, said.figure, said.limit)


def brief_line(standard: Standard, stage: Stage) -> StageLine:
    """
    Say a stage in as few words as can be.

    Parameters
    ----------
    standard : Standard
        The block's rule.
    stage : Stage
        The stage.

    Returns
    -------
    StageLine
        The words of a card with room for 25.
    """
    match stage:
        case Stage.TOP:
            key = just(Length(standard.top.target_mm))
            return StageLine(stage, key, _brief_wire(standard))
        case Stage.LIMBS:
            limbs = standard.limbs
            large = Length(limbs.large_mm, LengthKind.DIAMETER)
            return StageLine(
                stage,
                _brief_limbs(limbs.least, limbs.most),
                say("%(diameter)s +", diameter=large),
            )
        case Stage.COLUMNS:
            return StageLine(stage, say("1 column"), None)
        case Stage.HEADING:
            heading = standard.heading
            if heading.rule is not HeadingRule.REQUIRED:
                return StageLine(stage, say("No cut"), None)
            band = just(Band(heading.thinnest_mm, heading.thickest_mm))
            return StageLine(stage, say("Pencil"), band)


def _brief_limbs(least: int, most: int) -> Message:
    if least == most:
        return say_n("%(count)s limb", "%(count)s limbs", most)
    return say_n(
        "%(least)s\u2013%(count)s limb", "%(least)s\u2013%(count)s limbs", most, least=least
    )


def _brief_wire(standard: Standard) -> Message | None:
    if standard.top_wire_mm is None:
        return None
    above_mm = standard.top.target_mm - standard.top_wire_mm
    if abs(above_mm) < LEVEL_WITH_WIRE_MM:
        return say("level with top wire")
    if above_mm > 0:
        return say("%(distance)s above top wire", distance=Length(above_mm))
    return say("%(distance)s below top wire", distance=Length(-above_mm))


def leave_cases(standard: Standard, *, low_bloom: bool) -> tuple[Message, ...]:
    """
    Say on which trees a stage has nothing to do, as captions of pictures.

    Parameters
    ----------
    standard : Standard
        The block's rule.
    low_bloom : bool
        Whether the block has few flower buds this year.

    Returns
    -------
    tuple of Message
        Each goes on from `leave_heading`: the top not there yet, no large limb, and few flower
        buds where that holds; those of stages in use.
    """
    cases = []
    if standard.top.in_use:
        cases.append(say("under %(height)s", height=Length(standard.top.target_mm)))
    if standard.limbs.in_use:
        large = Length(standard.limbs.large_mm, LengthKind.DIAMETER)
        cases.append(say("no %(diameter)s limb", diameter=large))
        if low_bloom:
            cases.append(say("few buds"))
    return tuple(cases)


def brief_leave(standard: Standard, *, low_bloom: bool) -> Message | None:
    """
    Say on which trees a stage has nothing to do, in one short sentence.

    Parameters
    ----------
    standard : Standard
        The block's rule.
    low_bloom : bool
        Whether the block has few flower buds this year.

    Returns
    -------
    Message or None
        The sentence; none if neither tops nor limbs are pruned.
    """
    if not standard.limbs.in_use:
        return say("Leave low tops.") if standard.top.in_use else None
    if not standard.top.in_use:
        return say("Leave thin limbs, few buds.") if low_bloom else say("Leave thin limbs.")
    if low_bloom:
        return say("Leave low tops, thin limbs, few buds.")
    return say("Leave low tops, thin limbs.")


def card_sick_wood(*, brief: bool) -> Message:
    """
    Say what to do about canker and fire blight.

    Parameters
    ----------
    brief : bool
        Whether the card has room for 25 words only.

    Returns
    -------
    Message
        Short sentences.
    """
    return say("Canker, blight: mark, tell supervisor.") if brief else sick_wood()


def scale_question() -> Message:
    """
    Ask whether a card's gauges can be trusted.

    Returns
    -------
    Message
        What to look at, and what follows.
    """
    return say("Bank card fits between the lines? If not, do not use.")


def gauge_use(*, brief: bool) -> Message:
    """
    Say how to hold a card's gauges, so that the eye reads them without a slant.

    Parameters
    ----------
    brief : bool
        Whether the card has room for 25 words only.

    Returns
    -------
    Message
        One or two short sentences.
    """
    if brief:
        return say("Hold flat on wood.")
    return say("Flat on wood. One eye.")


def local_rules(*, brief: bool) -> Message:
    """
    Say whose safety rules come first.

    Parameters
    ----------
    brief : bool
        Whether the card has room for 25 words only.

    Returns
    -------
    Message
        One short sentence.
    """
    return say("Local rules first.") if brief else say("Local rules come first.")


def help_words(emergency_location: str, first_aider: str) -> tuple[Message, ...]:
    """
    Say where help comes to and who gives first aid, where that is known.

    Parameters
    ----------
    emergency_location, first_aider : str
        As the farm wrote them; may be empty.

    Returns
    -------
    tuple of Message
        None, one or two lines.
    """
    lines = []
    if emergency_location.strip():
        lines.append(say("Help comes to: %(place)s", place=emergency_location.strip()))
    if first_aider.strip():
        lines.append(say("First aid: %(name)s", name=first_aider.strip()))
    return tuple(lines)


def leave_heading() -> Message:
    """
    Say what the captions of `leave_cases` go on from.

    Returns
    -------
    Message
        Three words.
    """
    return say("Leave it when")


def beginner_leave(stage: Stage, *, low_bloom: bool) -> Message | None:
    """
    Say on which trees one stage has nothing to do.

    Parameters
    ----------
    stage : Stage
        The stage.
    low_bloom : bool
        Whether the block has few flower buds this year.

    Returns
    -------
    Message or None
        A short sentence for tops and limbs; what else stays is among the steps.
    """
    if stage is Stage.TOP:
        return say("Leave low tops.")
    if stage is Stage.LIMBS:
        return say("Leave thin limbs, few buds.") if low_bloom else say("Leave thin limbs.")
    return None
