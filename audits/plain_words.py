"""The standard in plain words: short sentences for the standard's page, the card and the quiz."""

import math
from collections.abc import Callable
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

from audits.learning_stages import sign_off_chance
from audits.messages import Message, Share, Words, mark, say, say_n
from audits.sampling.tables import PlanKind
from audits.standard import (
    LimbCaller,
    LimbsRule,
    Promise,
    SamplingRule,
    SignOffRule,
    Standard,
    TopRule,
    asks_for_side_branch,
)
from audits.units import Length, LengthKind
from audits.vocabulary import HeadingRule, Method, PlanMethod, Stage

PLAN_KIND_NAMES: Final = {
    PlanKind.SINGLE: mark("One sample"),
    PlanKind.DOUBLE: mark("Two samples, the second only where the first does not decide"),
}

# Nearer to the wire than this (about an inch), nobody on the ground sees a difference.
LEVEL_WITH_WIRE_MM: Final = 25.0


@dataclass(frozen=True)
class Band:
    """
    Two diameters between which a cut is right, read as one figure.

    Parameters
    ----------
    thinnest_mm, thickest_mm : float
        The two ends.

    Examples
    --------
    >>> from audits.messages import ENGLISH
    >>> ENGLISH.show(Band(6.35, 9.525))
    '1/4 to 3/8 in'
    """

    thinnest_mm: float
    thickest_mm: float

    def in_words(self, words: Words) -> str:
        """
        Write the band for one reader, its unit once where both ends share it.

        Parameters
        ----------
        words : Words
            The reader's language, region and units.

        Returns
        -------
        str
            Such as ``"6 to 9 mm"``.
        """
        thin = words.show(Length(self.thinnest_mm, LengthKind.DIAMETER))
        thick = words.show(Length(self.thickest_mm, LengthKind.DIAMETER))
        number, _, unit = thin.rpartition(" ")
        if number and thick.endswith(f" {unit}"):
            thin = number
        return words.say(say("%(thin)s to %(thick)s", thin=thin, thick=thick))


def just(value: object) -> Message:
    """
    Say a value and nothing else, so that there is nothing to translate.

    Parameters
    ----------
    value : object
        A number, a length, or anything else that a reader's `Words` can show.

    Returns
    -------
    Message
        The value alone.
    """
    return Message("%(value)s", MappingProxyType({"value": value}))


@dataclass(frozen=True)
class StageWords:
    """
    What a stage asks of a person with shears in hand.

    Parameters
    ----------
    stage : Stage
        The stage.
    headline : Message
        One sentence that says the most important thing, with this block's number.
    figure : Message
        The shortest form, at most three words, which a card prints large.
    hint : Message or None
        A few words to go with the figure beside a drawing that shows the limit.
    limit : Message or None
        A few words with the limit itself, for a card without such a drawing.
    steps : tuple of Message
        What to do, in order, one idea a sentence.
    beginner : tuple of Message
        The steps for a card that has the headline above its picture: at most four.
    leave : tuple of Message
        When to leave the wood alone.
    """

    stage: Stage
    headline: Message
    figure: Message
    hint: Message | None
    limit: Message | None
    steps: tuple[Message, ...]
    beginner: tuple[Message, ...]
    leave: tuple[Message, ...]


def stage_words(
    standard: Standard,
    stage: Stage,
    *,
    method: Method = Method.LADDER,
    low_bloom: bool = False,
) -> StageWords:
    """
    Put one stage of a standard into plain words.

    Parameters
    ----------
    standard : Standard
        The block's rule.
    stage : Stage
        The stage.
    method : Method, optional
        How the crew works; machine-topped rows are not asked for a side branch.
    low_bloom : bool, optional
        Whether the block has few flower buds this year.

    Returns
    -------
    StageWords
        Sentences in order; lengths appear in the reader's units.
    """
    match stage:
        case Stage.TOP:
            return _top_words(standard, method)
        case Stage.LIMBS:
            return _limbs_words(standard, low_bloom=low_bloom)
        case Stage.COLUMNS:
            return _columns_words(standard)
        case Stage.HEADING:
            return _heading_words(standard)


def standard_words(
    standard: Standard, *, method: Method = Method.LADDER, low_bloom: bool = False
) -> tuple[StageWords, ...]:
    """
    Put a whole standard into plain words.

    Heading is said even where it is off, because a crew that headed the last block must be told.

    Parameters
    ----------
    standard : Standard
        The block's rule.
    method : Method, optional
        How the crew works.
    low_bloom : bool, optional
        Whether the block has few flower buds this year.

    Returns
    -------
    tuple of StageWords
        One for each stage that is in use or must be said, from the top of the tree down.
    """
    return tuple(
        stage_words(standard, stage, method=method, low_bloom=low_bloom)
        for stage in Stage
        if standard.rule(stage).in_use
    )


def every_tree(standard: Standard) -> tuple[Message, ...]:
    """
    Say what holds for every tree, whatever the stage.

    Parameters
    ----------
    standard : Standard
        The block's rule.

    Returns
    -------
    tuple of Message
        Disease, and who calls the limbs.
    """
    words = [sick_wood()]
    if standard.limbs.in_use:
        words.append(limb_caller_words(standard.limb_caller))
    return tuple(words)


def sick_wood() -> Message:
    """
    Say what to do about canker and fire blight.

    How far to cut and how to clean tools differs from place to place, so a crew marks and asks.

    Returns
    -------
    Message
        Two short sentences.
    """
    return say("Canker or fire blight: mark the tree. Tell the supervisor.")


def limb_caller_words(caller: LimbCaller) -> Message:
    """
    Say who calls the limbs when two people face one tree.

    Parameters
    ----------
    caller : LimbCaller
        The one the standard names.

    Returns
    -------
    Message
        One sentence.
    """
    return _CALLERS[caller]()


_CALLERS: Final[dict[LimbCaller, Callable[[], Message]]] = {
    LimbCaller.LEFT: lambda: say("Two people at a tree: the left side calls the limbs."),
    LimbCaller.RIGHT: lambda: say("Two people at a tree: the right side calls the limbs."),
    LimbCaller.CREW_LEADER: lambda: say("Two people at a tree: the crew leader calls the limbs."),
}


def sampling_words(rule: SamplingRule) -> tuple[Message, ...]:
    """
    Say how many trees of a lot are looked at, and when it is decided.

    Parameters
    ----------
    rule : SamplingRule
        What the standard says of sampling.

    Returns
    -------
    tuple of Message
        Short sentences: the method first, then which lots are audited.
    """
    return (*_method_words(rule), _lots_audited(rule))


def _method_words(rule: SamplingRule) -> tuple[Message, ...]:
    match rule.method:
        case PlanMethod.WAVES:
            return (
                say("The trees are looked at in up to %(count)s walks.", count=rule.most_waves),
                say("A stage that is clearly good or bad is decided after the first."),
            )
        case PlanMethod.SINGLE:
            return (say("One sample is looked at, and decides."),)
        case PlanMethod.DOUBLE:
            return (
                say("Two samples of the same size are drawn."),
                say("The second is looked at only where the first does not decide."),
            )
        case PlanMethod.TABLE:
            return (
                say(
                    "The plan comes from the published tables (MIL-STD-105E): AQL %(limit)s, level "
                    "%(level)s.",
                    limit=rule.acceptable_quality_limit,
                    level=rule.inspection_level.value,
                ),
                say("%(kind)s.", kind=say(PLAN_KIND_NAMES[rule.table_kind])),
            )


def _lots_audited(rule: SamplingRule) -> Message:
    if rule.passes_lots_over:
        return say(
            "Once five lots of a crew in a row are accepted, one lot in three is audited, chosen "
            "at random."
        )
    if rule.method is PlanMethod.TABLE:
        return say("Every lot is audited; the tables look at more trees after bad lots.")
    return say("Every lot is audited.")


def sign_off_words(rule: SignOffRule) -> Message:
    """
    Say when somebody who learns a stage is signed off.

    Parameters
    ----------
    rule : SignOffRule
        What the standard says.

    Returns
    -------
    Message
        One sentence.
    """
    if rule.most_nonconforming == 0:
        return say("When the last %(trees)s due trees are all right.", trees=rule.trees)
    return say_n(
        "When at most %(count)s of the last %(trees)s due trees is wrong.",
        "When at most %(count)s of the last %(trees)s due trees are wrong.",
        rule.most_nonconforming,
        trees=rule.trees,
    )


def chance_words(rule: SignOffRule, promise: Promise) -> tuple[Message, Message]:
    """
    Say how often the rule signs off somebody good, and somebody who is not there yet.

    Parameters
    ----------
    rule : SignOffRule
        What the standard says of signing off.
    promise : Promise
        The stage's two fractions: what is acceptable, and what is not.

    Returns
    -------
    tuple of Message
        One sentence each, for people who leave the acceptable and the rejectable fraction of their
        trees wrong, within twice as many due trees as the rule looks at.
    """
    within = 2 * rule.trees
    return (
        _chance_sentence(rule, promise.acceptable_fraction, within),
        _chance_sentence(rule, promise.rejectable_fraction, within),
    )


def _chance_sentence(rule: SignOffRule, fraction: float, within: int) -> Message:
    chance = rounded_chance(sign_off_chance(fraction, rule, within))
    one_in = round(1 / fraction)
    if math.isclose(one_in * fraction, 1, rel_tol=1e-9):
        return say(
            "Somebody who leaves 1 tree in %(one_in)s wrong is signed off within %(within)s trees "
            "%(chance)s times in 100.",
            one_in=one_in,
            within=within,
            chance=chance,
        )
    return say(
        "Somebody who leaves %(share)s of trees wrong is signed off within %(within)s trees "
        "%(chance)s times in 100.",
        share=Share(fraction, 1),
        within=within,
        chance=chance,
    )


def rounded_chance(chance: float) -> Message:
    """
    Say a chance in times of 100, so that rounding makes neither never nor always of it.

    Parameters
    ----------
    chance : float
        The chance, in [0, 1].

    Returns
    -------
    Message
        A whole number, or less than one, or more than 99.
    """
    times = round(100 * chance)
    if times == 0 and chance > 0:
        return say("less than 1")
    if times == _ALWAYS and chance < 1:
        return say("more than 99")
    return just(times)


_ALWAYS: Final = 100


def against_the_wire(height_mm: float, top_wire_mm: float) -> Message:
    """
    Say a height against the top wire, which everybody in the row can see.

    Parameters
    ----------
    height_mm : float
        The height.
    top_wire_mm : float
        Height of the top wire.

    Returns
    -------
    Message
        Such as "2 in below the top wire".
    """
    above_mm = height_mm - top_wire_mm
    if abs(above_mm) < LEVEL_WITH_WIRE_MM:
        return say("level with the top wire")
    if above_mm > 0:
        return say("%(distance)s above the top wire", distance=Length(above_mm))
    return say("%(distance)s below the top wire", distance=Length(-above_mm))


def _top_words(standard: Standard, method: Method) -> StageWords:
    rule = standard.top
    target = Length(rule.target_mm)
    wire = (
        None
        if standard.top_wire_mm is None
        else against_the_wire(rule.target_mm, standard.top_wire_mm)
    )
    steps = [say("Cut at %(height)s from the ground.", height=target)]
    if wire is not None:
        steps.append(say("That is %(place)s.", place=wire))
    steps.append(
        say("Up to %(distance)s more or less is right.", distance=Length(rule.tolerance_mm))
    )
    if asks_for_side_branch(standard, method):
        steps.append(say("Cut to a small side branch."))
    return StageWords(
        stage=Stage.TOP,
        headline=say("Cut the top at %(height)s.", height=target),
        figure=just(target),
        hint=wire,
        limit=wire,
        steps=tuple(steps),
        beginner=tuple(steps),
        leave=_top_leave(rule),
    )


def _top_leave(rule: TopRule) -> tuple[Message, ...]:
    return (
        say("Leave a leader that is below %(height)s.", height=Length(rule.target_mm)),
        say("Leave an old or storm-broken low top."),
    )


def _limbs_words(standard: Standard, *, low_bloom: bool) -> StageWords:
    rule = standard.limbs
    large = Length(rule.large_mm, LengthKind.DIAMETER)
    measure = (
        say("A limb counts from %(diameter)s up.", diameter=large),
        say("Measure %(distance)s out from the trunk.", distance=Length(rule.measured_out_mm)),
    )
    # Where none is taken out, how to cut and when to stop would say the opposite.
    cut: tuple[Message, ...] = (say("Leave a short, slanted stub."),) if rule.most else ()
    if rule.most and rule.clean_cut_height_mm:
        clean = Length(rule.clean_cut_height_mm)
        cut = (
            say("Below %(height)s cut clean at the trunk.", height=clean),
            say("Higher up leave a short, slanted stub."),
        )
    first = (say("Take the thickest first."),) if rule.most else ()
    leave = [say("Leave the limbs if none is %(diameter)s thick.", diameter=large)]
    if low_bloom and rule.most:
        leave.append(say("Few flower buds this year: take out less."))
    return StageWords(
        stage=Stage.LIMBS,
        headline=_limbs_headline(rule),
        figure=_limbs_figure(rule),
        hint=say("the largest"),
        limit=say("%(diameter)s or more", diameter=large),
        steps=(_limbs_headline(rule), *measure, *first, *cut),
        beginner=(*measure, *cut),
        leave=tuple(leave),
    )


def _limbs_headline(rule: LimbsRule) -> Message:
    if rule.most == 0:
        return say("Take out no large limb.")
    if rule.least == 0:
        return say_n(
            "Take out one large limb or none.",
            "Take out up to %(count)s large limbs.",
            rule.most,
        )
    if rule.least == rule.most:
        return say_n(
            "Take out the largest limb.", "Take out the %(count)s largest limbs.", rule.most
        )
    return say(
        "Take out the %(least)s to %(most)s largest limbs.", least=rule.least, most=rule.most
    )


def _limbs_figure(rule: LimbsRule) -> Message:
    if rule.least == rule.most:
        return say_n("%(count)s limb", "%(count)s limbs", rule.most)
    return say_n(
        "%(least)s to %(count)s limb", "%(least)s to %(count)s limbs", rule.most, least=rule.least
    )


def _columns_words(standard: Standard) -> StageWords:
    longest = Length(standard.columns.side_branch_mm)
    long = say("Cut off side branches longer than %(length)s.", length=longest)
    thick = say("Cut off side branches thicker than a pencil.")
    keep = say("Keep the spurs and the tip.")
    return StageWords(
        stage=Stage.COLUMNS,
        headline=say("Make each branch one column."),
        figure=say("1 column"),
        hint=say("keep the spurs"),
        limit=say("keep the spurs"),
        steps=(
            say("Make each branch one column."),
            long,
            thick,
            say("Take one arm off each fork."),
            say("Take off strong uprights."),
            keep,
        ),
        beginner=(long, thick, say("Take off forks and strong uprights."), keep),
        leave=(
            say("Leave thin shoots up to %(length)s: they are spurs.", length=longest),
            say("Leave a branch that is one column already."),
        ),
    )


def _heading_words(standard: Standard) -> StageWords:
    rule = standard.heading
    if rule.rule is HeadingRule.FORBIDDEN:
        return StageWords(
            stage=Stage.HEADING,
            headline=say("Do not head the branch ends."),
            figure=say("No cut"),
            hint=say("leave every tip"),
            limit=say("leave every tip"),
            steps=(say("Do not head the branch ends."), say("Leave every tip on.")),
            beginner=(say("Leave every tip on."),),
            leave=(say("Leave thin, hanging ends too."),),
        )
    if rule.rule is HeadingRule.OFF:
        return StageWords(
            stage=Stage.HEADING,
            headline=say("No heading in this block."),
            figure=say("No cut"),
            hint=say("in this block"),
            limit=say("in this block"),
            steps=(say("No heading in this block."),),
            beginner=(say("Leave every tip on."),),
            leave=(),
        )
    band = just(Band(rule.thinnest_mm, rule.thickest_mm))
    steps = (
        say("Find ends that hang and are thin."),
        say("Cut them where they are pencil thick."),
        say("That is %(band)s.", band=band),
    )
    return StageWords(
        stage=Stage.HEADING,
        headline=say("Cut thin ends that hang at pencil size."),
        figure=say("Pencil thick"),
        hint=say("thin ends that hang"),
        limit=band,
        steps=steps,
        beginner=steps,
        leave=(
            say("Leave ends that do not hang."),
            say("Leave ends that are thicker than a pencil."),
        ),
    )
