"""The colours of the tool, on screen and on paper; ``static/css/palette.css`` repeats them."""

from typing import Final

# Text colours have at least 7:1 against PAPER and GROUND, LINE at least 3:1 against PAPER
# (WCAG 2.2, 1.4.6 and 1.4.11). RIGHT (blue) and FAULT (red-brown) stay apart for the three common
# colour-vision deficiencies, and a shape and a word always stand beside them. GONE, FRESH and the
# tints only lie behind other marks.
COLOURS: Final = {
    "ink": "#16201c",
    "soft-ink": "#414c46",
    "paper": "#ffffff",
    "ground": "#f3f5ef",
    "line": "#77817a",
    "action": "#0d4a3c",
    "right": "#0a4478",
    "fault": "#852a00",
    "nothing-due": "#4d4400",
    "wood": "#6b4a2b",
    "far-wood": "#9a846c",
    "young-wood": "#7c3f2d",
    "bark": "#86694b",
    "bud": "#9a4f45",
    "soil": "#d9cfbf",
    "cut": "#b3400f",
    "spur": "#5d7a3a",
    "wire": "#77817a",
    "gone": "#c6ccc6",
    "fresh": "#f3dfb6",
    "right-tint": "#d3e3f1",
    "fault-tint": "#f4dccd",
}
