"""
The style sheets that follow from palette and inks.

``python -m printables.drawing.stylesheets palette > static/css/palette.css`` writes the one,
``drawing`` the other; a test holds the files to what is written here.
"""

import sys
from typing import Final

from printables.drawing.inks import APPEARANCES, Appearance, Ink
from printables.drawing.palette import COLOURS

_HEADER: Final = "/* Written by printables/drawing/stylesheets.py; change the colours there. */\n"

_FRAME: Final = """
.drawing {
  display: block;
  max-inline-size: 100%;
  block-size: auto;
  font-family: inherit;
  print-color-adjust: exact;
}

.drawing [class^="inked-"] {
  fill: none;
  stroke: none;
  stroke-linecap: round;
  stroke-linejoin: round;
}

.drawing .letters-start {
  text-anchor: start;
}

.drawing .letters-middle {
  text-anchor: middle;
}

.drawing .letters-end {
  text-anchor: end;
}

.drawing .letters-bold {
  font-weight: 700;
}

/* Pictures keep their own colours where the reader sets all others. */
@media (forced-colors: active) {
  .drawing {
    background: var(--paper);
    forced-color-adjust: none;
  }
}
"""


def palette_css() -> str:
    """
    Write the palette as custom properties.

    Returns
    -------
    str
        The whole of ``static/css/palette.css``.
    """
    lines = "".join(f"  --{name}: {colour};\n" for name, colour in COLOURS.items())
    return f"{_HEADER}:root {{\n{lines}}}\n"


def drawing_css() -> str:
    """
    Write the looks of all inks as classes.

    Returns
    -------
    str
        The whole of ``static/css/drawing.css``.
    """
    rules = "\n".join(_rule(ink, APPEARANCES[ink]) for ink in Ink)
    return f"{_HEADER}{_FRAME}\n{rules}"


def _rule(ink: Ink, appearance: Appearance) -> str:
    declarations = []
    if appearance.fill is not None:
        declarations.append(f"fill: var(--{appearance.fill});")
    if appearance.stroke is not None:
        # A plain number counts in the drawing's own unit, the millimetre.
        declarations.append(f"stroke: var(--{appearance.stroke});")
        declarations.append(f"stroke-width: {appearance.width_mm:g};")
    if appearance.outside:
        declarations.append("paint-order: stroke;")
    if appearance.dash_mm:
        lengths = " ".join(f"{length:g}" for length in appearance.dash_mm)
        declarations.append("stroke-linecap: butt;")
        declarations.append(f"stroke-dasharray: {lengths};")
    body = "".join(f"  {declaration}\n" for declaration in declarations)
    return f".drawing .inked-{ink} {{\n{body}}}\n"


if __name__ == "__main__":
    sys.stdout.write({"palette": palette_css, "drawing": drawing_css}[sys.argv[1]]())
