"""
What to tell somebody about a fault: why it matters and what to do on the next tree.

People are told what to do but rarely why, and reasons are what gets across; so each fault has one
short sentence of either kind, fit to be read aloud.
"""

from collections.abc import Mapping
from enum import StrEnum
from typing import Final, NamedTuple

from audits.messages import Message, say, say_n
from audits.vocabulary import STAGE_NAMES, Fault, Stage


class CoachingReason(StrEnum):
    """Why somebody works on a stage, or on none."""

    SIGNAL = "signal"
    HARD_BLOCK = "hard_block"
    ABOVE_STANDARD = "above_standard"
    MOST_TO_GAIN = "most_to_gain"
    SEEN = "seen"
    NOTHING = "nothing"
    TOO_FEW = "too_few"


REASON_WORDS: Final = {
    CoachingReason.SIGNAL: say("More faults lately than chance explains."),
    CoachingReason.HARD_BLOCK: say("Others in the same block have more faults here too."),
    CoachingReason.ABOVE_STANDARD: say("More trees are wrong than the standard accepts."),
    CoachingReason.MOST_TO_GAIN: say("Here is the most to gain."),
    CoachingReason.SEEN: say("It was seen on some trees."),
    CoachingReason.NOTHING: say("Nothing to work on now. This stage went well."),
    CoachingReason.TOO_FEW: say("Too few trees yet to choose one stage. Go on as you were shown."),
}


class FaultWords(NamedTuple):
    """
    What to say about a fault.

    Parameters
    ----------
    why : Message
        Why it matters.
    instead : Message
        What to do on the next tree.
    """

    why: Message
    instead: Message


# Why: shade and flower buds, replacement limbs, canker at stubs, fruit size on thin wood are
# published (see the reference notes on each stage); what to do follows the standard's own words.
FAULT_WORDS: Final = {
    Fault.HIGH: FaultWords(
        say("A tall top shades the tree."),
        say("Hold the marked pole up. Cut at the mark."),
    ),
    Fault.LOW: FaultWords(
        say("A tree cut too low grows wild shoots."),
        say("Look at the pole first. Then cut."),
    ),
    Fault.BLUNT: FaultWords(
        say("A blunt cut grows a brush of shoots."),
        say("Find a small side branch. Cut to it."),
    ),
    Fault.LEADER_YOUNG: FaultWords(
        say("A young leader still has to fill its space."),
        say("Is it below the mark? Leave it."),
    ),
    Fault.TOO_FEW: FaultWords(
        say("Large limbs shade the fruit."),
        say("Count the large limbs. Take the thickest first."),
    ),
    Fault.TOO_MANY: FaultWords(
        say("Each limb too many takes fruit away."),
        say("Count your cuts. Then stop."),
    ),
    Fault.WRONG_LIMB: FaultWords(
        say("The thick limb stays and takes the light."),
        say("Measure first. The thickest comes out."),
    ),
    Fault.FLUSH_CUT: FaultWords(
        say("Without a stub no new limb grows."),
        say("Leave a short, slanted stub."),
    ),
    Fault.LOW_STUB: FaultWords(
        say("A stub low down grows back."),
        say("Low down, cut clean at the trunk."),
    ),
    Fault.LONG_STUB: FaultWords(
        say("A long stub dies and lets rot in."),
        say("Cut it short and slanted."),
    ),
    Fault.TORN_BARK: FaultWords(
        say("Torn bark lets rot in."),
        say("Cut from below first, or hold the limb."),
    ),
    Fault.FORK: FaultWords(
        say("Two arms shade each other."),
        say("Take off one of the two arms."),
    ),
    Fault.SIDE_BRANCH: FaultWords(
        say("Side branches shade the spurs."),
        say("Cut side branches off at the branch."),
    ),
    Fault.UPRIGHT: FaultWords(
        say("A strong upright takes the light."),
        say("Take it off where it starts."),
    ),
    Fault.TIP_SHORTENED: FaultWords(
        say("A branch must end in its own tip."),
        say("Leave the tip on."),
    ),
    Fault.SPURS_STRIPPED: FaultWords(
        say("Spurs carry the fruit."),
        say("Leave every spur."),
    ),
    Fault.THICK: FaultWords(
        say("A thick cut takes too much fruit."),
        say("Go further out, to pencil size."),
    ),
    Fault.THIN: FaultWords(
        say("Thin wood bears small fruit."),
        say("Go further in, to pencil size."),
    ),
    Fault.LEFT_LONG: FaultWords(
        say("Thin, hanging wood bears small fruit."),
        say("Cut it where it is pencil thick."),
    ),
    Fault.FORBIDDEN: FaultWords(
        say("This kind bears fruit at the tips."),
        say("Leave every tip on."),
    ),
    Fault.TREE_MISSED: FaultWords(
        say("Nobody comes back to a missed tree."),
        say("Do every tree, one after the other."),
    ),
    Fault.SIDE_MISSED: FaultWords(
        say("Nobody comes back to a missed side."),
        say("Do both sides, if both are yours."),
    ),
}


def card_words(stage: Stage) -> Message:
    """
    Say which part of the pocket card to go through.

    Parameters
    ----------
    stage : Stage
        The stage to work on.

    Returns
    -------
    Message
        One or two sentences.
    """
    match stage:
        case Stage.TOP:
            return say("Pocket card, front: Top.")
        case Stage.LIMBS:
            return say("Pocket card, front: Limbs. Back: limb gauge.")
        case Stage.COLUMNS:
            return say("Pocket card, front: Columns.")
        case Stage.HEADING:
            return say("Pocket card, front: Heading. Back: pencil gauge.")


def practice_words() -> Message:
    """
    Say how to practise a stage.

    Returns
    -------
    Message
        Short sentences: about five trees are pruned as the pattern, then people are left alone,
        checked, and told what is right.
    """
    return say("Prune 5 trees together. Then do 5 alone. Look at them together.")


def contested_words(trees: int) -> list[Message]:
    """
    Say how many trees of a reading are contested.

    Parameters
    ----------
    trees : int
        Trees with a disagreement that nobody has answered.

    Returns
    -------
    list of Message
        One sentence; none where no tree is contested.
    """
    if not trees:
        return []
    return [
        say_n(
            "Contested: %(count)s of these trees waits for a second person's answer.",
            "Contested: %(count)s of these trees wait for a second person's answer.",
            trees,
        )
    ]


def left_out_words(left_out: Mapping[Stage, int]) -> list[Message]:
    """
    Say how many trees are in no count, because of whoever scored them.

    Parameters
    ----------
    left_out : Mapping of Stage to int
        Due trees left out.

    Returns
    -------
    list of Message
        A sentence for each stage with any, from the top of the tree down.
    """
    return [
        say_n(
            "%(stage)s: %(count)s more tree does not count, until whoever scored it has walked "
            "check trees again.",
            "%(stage)s: %(count)s more trees do not count, until whoever scored them has walked "
            "check trees again.",
            left_out[stage],
            stage=say(STAGE_NAMES[stage]),
        )
        for stage in Stage
        if left_out.get(stage)
    ]
