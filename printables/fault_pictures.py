"""The picture of each fault, to the numbers of the block's standard where they show in it."""

from dataclasses import replace
from typing import Final

from audits.messages import Words
from audits.standard import Standard
from audits.units import Length
from audits.vocabulary import FAULT_NAMES, Fault
from printables.drawing.closeup import fault_close_up
from printables.drawing.pictograms import missed_pictogram
from printables.drawing.primitives import Drawing, Text
from printables.drawing.tree import TopLabels, top_drawing

_HEIGHTS: Final = frozenset({Fault.HIGH, Fault.LOW})
_MISSED: Final = frozenset({Fault.TREE_MISSED, Fault.SIDE_MISSED})


def fault_picture(
    standard: Standard, fault: Fault, words: Words, *, lettered: bool = True
) -> Drawing:
    """
    Draw a fault as it is found on the tree.

    Parameters
    ----------
    standard : Standard
        The block's rule; heights are drawn to its numbers.
    fault : Fault
        The fault.
    words : Words
        The reader's language and units.
    lettered : bool, optional
        Whether heights carry their figures; left out where these would come out too small.

    Returns
    -------
    Drawing
        The picture, titled with the fault's name: 35 by 40 mm for heights, else a square.
    """
    title = words.say(FAULT_NAMES[fault])
    if fault in _MISSED:
        return missed_pictogram(fault, title)
    if fault not in _HEIGHTS:
        return fault_close_up(fault, title)
    rule = standard.top
    labels = TopLabels(
        title,
        "",
        target=words.show(Length(rule.target_mm)),
        tolerance=f"\u00b1 {words.show(Length(rule.tolerance_mm))}",
    )
    wires = () if standard.top_wire_mm is None else (standard.top_wire_mm,)
    drawn = top_drawing(rule.target_mm, rule.tolerance_mm, wires, labels, fault)
    if lettered:
        return drawn
    shapes = tuple(shape for shape in drawn.shapes if not isinstance(shape, Text))
    return replace(drawn, shapes=shapes)
