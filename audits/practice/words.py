"""What is said of practice trees: what to do at a stage, and each place in words to be read out."""

from typing import Final

from audits.messages import Message, mark, say, say_n
from audits.plain_words import stage_words
from audits.practice.model import Limb, PracticeTree, SideBranch, SideKind, TreeKind
from audits.practice.places import HeadPlace, TopPlace
from audits.standard import Standard
from audits.units import Length, LengthKind
from audits.vocabulary import HeadingRule, Method, Stage

KIND_WORDS: Final = {
    TreeKind.USUAL: say("A usual tree"),
    TreeKind.NOT_DUE: say("A tree below the target"),
    TreeKind.LOW_BLOOM: say("A tree with few flower buds"),
    TreeKind.NO_LARGE_LIMB: say("A tree without a large limb"),
    TreeKind.TOO_MANY_LIMBS: say("A tree with many large limbs"),
    TreeKind.TIP_BEARER: say("A tree that bears at its tips"),
}

_DO: Final = {
    Stage.TOP: say("Choose where to cut the leader. Below the mark, leave it."),
    Stage.LIMBS: say("Take out the largest limbs. The round gauge shows what counts as large."),
    Stage.COLUMNS: say("Take off forks, strong uprights and side branches. Keep the spurs."),
    Stage.HEADING: say(
        "Shorten a thin end that hangs where it is as thick as the pencil. Leave other ends."
    ),
}
_DO_NOT_HEAD: Final = say("Leave every tip on.")

_SIDE_WORDS: Final = {
    SideKind.FORK: mark("Fork, %(length)s long, %(thick)s thick"),
    SideKind.UPRIGHT: mark("Strong upright, %(length)s long, %(thick)s thick"),
    SideKind.SIDE: mark("Side branch, %(length)s long, %(thick)s thick"),
}


def goal_words(standard: Standard, stage: Stage, method: Method) -> Message:
    """
    Say what a stage asks for, in one short sentence.

    Parameters
    ----------
    standard : Standard
        The block's rule.
    stage : Stage
        The stage.
    method : Method
        How the crew works.

    Returns
    -------
    Message
        As on the card.
    """
    return stage_words(standard, stage, method=method).headline


def do_words(standard: Standard, stage: Stage) -> Message:
    """
    Say what to do on a picture at a stage.

    Parameters
    ----------
    standard : Standard
        The block's rule.
    stage : Stage
        The stage.

    Returns
    -------
    Message
        A short order, and when to leave the wood alone.
    """
    if stage is Stage.HEADING and standard.heading.rule is HeadingRule.FORBIDDEN:
        return _DO_NOT_HEAD
    return _DO[stage]


def tree_words(tree: PracticeTree) -> Message:
    """
    Describe a tree to somebody who does not see it, without saying what to do with it.

    Parameters
    ----------
    tree : PracticeTree
        The tree.

    Returns
    -------
    Message
        Its height and branches, and what has to be known of its buds.
    """
    count, height = len(tree.limbs), Length(tree.height_mm, LengthKind.HEIGHT)
    if tree.kind is TreeKind.LOW_BLOOM:
        return say_n(
            "A tree of %(height)s with %(count)s branch and few flower buds.",
            "A tree of %(height)s with %(count)s branches and few flower buds.",
            count,
            height=height,
        )
    if tree.kind is TreeKind.TIP_BEARER:
        return say_n(
            "A tree of %(height)s with %(count)s branch. It bears at its tips.",
            "A tree of %(height)s with %(count)s branches. It bears at its tips.",
            count,
            height=height,
        )
    return say_n(
        "A tree of %(height)s with %(count)s branch.",
        "A tree of %(height)s with %(count)s branches.",
        count,
        height=height,
    )


def top_words(place: TopPlace) -> Message:
    """
    Describe a place of the leader.

    Parameters
    ----------
    place : TopPlace
        The place.

    Returns
    -------
    Message
        Its height, and whether a side branch is there.
    """
    height = Length(place.at_mm, LengthKind.HEIGHT)
    if place.limb is None:
        return say("At %(height)s, between side branches", height=height)
    return say("At %(height)s, at a side branch", height=height)


def limb_words(limb: Limb, standard: Standard) -> Message:
    """
    Describe a limb.

    Parameters
    ----------
    limb : Limb
        The limb.
    standard : Standard
        The block's rule, which says where its diameter is taken.

    Returns
    -------
    Message
        Its height and its diameter.
    """
    return say(
        "Limb at %(height)s, %(thick)s thick",
        height=Length(limb.union_mm, LengthKind.HEIGHT),
        thick=_diameter(limb.measured_mm(standard.limbs.measured_out_mm)),
    )


def side_words(side: SideBranch) -> Message:
    """
    Describe a side branch.

    Parameters
    ----------
    side : SideBranch
        The side branch.

    Returns
    -------
    Message
        How it stands, its length and its diameter.
    """
    wood = side.wood
    return say(
        _SIDE_WORDS[side.kind],
        length=Length(wood.length_mm, LengthKind.HEIGHT),
        thick=_diameter(wood.thick_mm),
    )


def head_words(limb: Limb, place: HeadPlace) -> Message:
    """
    Describe a place at which a branch may be shortened.

    Parameters
    ----------
    limb : Limb
        The branch.
    place : HeadPlace
        The place.

    Returns
    -------
    Message
        Its diameter there, and whether it hangs there.
    """
    thick = _diameter(place.mm)
    if limb.end is not None and place.at > 1.0:
        return say("On the hanging end, where it is %(thick)s thick", thick=thick)
    if limb.end is not None:
        return say("Before the end hangs, where it is %(thick)s thick", thick=thick)
    return say("On a branch that does not hang, where it is %(thick)s thick", thick=thick)


def _diameter(mm: float) -> Length:
    return Length(mm, LengthKind.DIAMETER)
