"""
What the phone says while it counts: signs, reasons and places.

The texts are those of the pages and of paper, so that each has one translation. The places in them
keep the names that they have there: ``%(count)s`` where a sentence of `audits` speaks of a number.
"""

from typing import Final

from audits.messages import mark, mark_n

_SIGNS: Final[dict[str, str | tuple[str, str]]] = {
    "sign.carry_on": mark("Carry on"),
    "sign.stop": mark("Stop"),
    "sign.more_trees": mark_n("%(num)s more tree.", "%(num)s more trees."),
    "sign.more_trees_between": mark("%(fewest)s to %(most)s more trees."),
    "sign.stages_lost": mark("%(stages)s not accepted. %(trees)s"),
    "tally.mean_decides": mark("the mean decides"),
    "tally.found_allowed": mark("%(found)s, up to %(most)s allowed"),
    "tally.faults": mark_n("%(num)s fault", "%(num)s faults"),
    "outcome.office": mark("The office decides"),
}

_REASONS: Final[dict[str, str | tuple[str, str]]] = {
    "reason.found_allowed": mark("%(found)s; %(allowed)s"),
    "reason.with_caution": mark("%(reason)s. %(caution)s"),
    "reason.none_scored": mark("No tree scored yet"),
    "reason.no_fault": mark_n("No fault in %(count)s tree", "No fault in %(count)s trees"),
    "reason.of_trees": mark_n(
        "%(nonconforming)s of %(count)s tree %(phrase)s",
        "%(nonconforming)s of %(count)s trees %(phrase)s",
    ),
    "reason.leading": mark("%(found)s, %(leading)s of them %(fault)s"),
    "reason.none_allowed": mark("none allowed"),
    "reason.up_to": mark("up to %(most)s allowed"),
    "reason.none_of": mark("none of %(sample)s allowed"),
    "reason.up_to_of": mark("up to %(most)s of %(sample)s allowed"),
    "reason.lost_with": mark("not accepted with %(rejected)s of %(sample)s, else the walk goes on"),
    "reason.decided_with": mark(
        "accepted with up to %(accepted)s of %(sample)s, not accepted with %(rejected)s, else the "
        "walk goes on"
    ),
    "reason.nothing_due": mark("Nothing was due on any of these trees"),
    "reason.few_due": mark_n(
        "Few due trees: only %(count)s tree had anything due",
        "Few due trees: only %(count)s trees had anything due",
    ),
    "reason.stage": mark("%(stage)s: %(reason)s"),
    "reason.first_rest": mark("%(first)s. %(rest)s"),
    "reason.stages_open": mark_n(
        "%(count)s stage of %(stages)s still open", "%(count)s stages of %(stages)s still open"
    ),
    "reason.stages_accepted": mark_n(
        "The one stage is accepted", "All %(count)s stages are accepted"
    ),
    "reason.measured": mark_n(
        "%(count)s tree of %(sample)s measured; the mean decides when all are",
        "%(count)s trees of %(sample)s measured; the mean decides when all are",
    ),
    "reason.fallback": mark("%(why)s. %(count)s"),
    "reason.office": mark(
        "All trees are measured, and the mean lies as good as on its limit: the office decides"
    ),
}

_MEANS: Final[dict[str, str | tuple[str, str]]] = {
    "mean.no_height": mark("Not every tree gave a height, so trees are counted instead"),
    "mean.no_cut": mark("Not every tree gave a cut to measure, so trees are counted instead"),
    "mean.not_only_height": mark("Not only the height went wrong, so trees are counted instead"),
    "mean.not_only_thickness": mark(
        "Not only the thickness went wrong, so trees are counted instead"
    ),
    "mean.heights_shape": mark(
        "The heights are not spread evenly enough around their mean to be judged by it, so trees "
        "are counted instead"
    ),
    "mean.cuts_shape": mark(
        "The cuts are not spread evenly enough around their mean to be judged by it, so trees "
        "are counted instead"
    ),
    "mean.heights_accepted": mark(
        "Heights average %(mean)s, spread %(spread)s: about %(share)s outside the band, at most "
        "%(most)s allowed"
    ),
    "mean.cuts_accepted": mark(
        "Cuts average %(mean)s, spread %(spread)s: about %(share)s outside the band, at most "
        "%(most)s allowed"
    ),
    "mean.heights_high": mark(
        "Heights run high: %(mean)s on average, spread %(spread)s; about %(share)s outside the "
        "band, at most %(most)s allowed"
    ),
    "mean.heights_low": mark(
        "Heights run low: %(mean)s on average, spread %(spread)s; about %(share)s outside the "
        "band, at most %(most)s allowed"
    ),
    "mean.heights_uneven": mark(
        "Heights differ too much from tree to tree: %(mean)s on average, spread %(spread)s; about "
        "%(share)s outside the band, at most %(most)s allowed"
    ),
    "mean.cuts_high": mark(
        "Cuts run thick: %(mean)s on average, spread %(spread)s; about %(share)s outside the "
        "band, at most %(most)s allowed"
    ),
    "mean.cuts_low": mark(
        "Cuts run thin: %(mean)s on average, spread %(spread)s; about %(share)s outside the band, "
        "at most %(most)s allowed"
    ),
    "mean.cuts_uneven": mark(
        "Cuts differ too much in thickness: %(mean)s on average, spread %(spread)s; about "
        "%(share)s outside the band, at most %(most)s allowed"
    ),
    "mean.heights_equal_inside": mark(
        "All %(count)s heights read %(mean)s, inside the band. Check that each tree was measured"
    ),
    "mean.heights_equal_outside": mark(
        "All %(count)s heights read %(mean)s, outside the band. Check that each tree was measured"
    ),
    "mean.cuts_equal_inside": mark(
        "All %(count)s cuts read %(mean)s, inside the band. Check that each cut was measured"
    ),
    "mean.cuts_equal_outside": mark(
        "All %(count)s cuts read %(mean)s, outside the band. Check that each cut was measured"
    ),
    "length.mm": mark("%(number)s mm"),
    "length.cm": mark("%(number)s cm"),
    "length.m": mark("%(number)s m"),
    "length.in": mark("%(number)s in"),
    "length.ft": mark("%(number)s ft"),
    "length.ft_in": mark("%(feet)s ft %(inches)s in"),
    "length.under": mark("under %(length)s"),
}

_PLACES: Final[dict[str, str | tuple[str, str]]] = {
    "place.tree": mark("tree %(position)s"),
    "place.panel_tree": mark("panel %(panel)s, tree %(tree)s"),
    "place.out_from_start": mark("out from the start (%(end)s)"),
    "place.back_to_start": mark("back to the start (%(end)s)"),
    "place.turn_round": mark("turn round: %(far)s"),
    "place.out_on": mark("out: %(far)s on"),
    "place.back_on": mark("back: %(far)s on"),
    "place.panels": mark_n("%(num)s panel", "%(num)s panels"),
    "place.trees": mark_n("%(num)s tree", "%(num)s trees"),
}

_PROBLEMS: Final[dict[str, str | tuple[str, str]]] = {
    "problem.tap": mark("Tap an answer."),
    "problem.no_such_tile": mark("Tap one of the answers."),
    "problem.answer_this_too": mark("Answer this stage too: it is judged on the whole tree."),
    "problem.measure": mark("Measure this stage."),
    "problem.name_the_fault": mark("Name the fault."),
    "problem.too_many_singles": mark("There cannot be more single columns than branches."),
    "problem.too_many_ends": mark(
        "These are more due branches than the standard looks at on a tree."
    ),
    "problem.disagree": mark(
        "The measures and the tile do not say the same. Put one of them right."
    ),
}

# By key: mark(text), or mark_n(one, several) where a number chooses.
PHRASES_COUNTING: Final[dict[str, str | tuple[str, str]]] = {
    **_SIGNS,
    **_REASONS,
    **_MEANS,
    **_PLACES,
    **_PROBLEMS,
}
