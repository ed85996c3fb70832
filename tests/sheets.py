"""What holds for every sheet on paper, whoever made it and however long the names are."""

from printables.document import Document, Leaf, Role
from printables.drawing.primitives import Drawing
from tests.paper import assert_nothing_clipped, printed_lines

# What office printers leave blank (common practice), and a little more.
MARGIN_MM = 8.0

# The longest names and notes that the farm's forms take, with and without spaces.
SPACED = "María de los Ángeles Hernández-Quintanar y Villalobos del Río Bravo de Abajo"
UNBROKEN = ("Hernándezquintanar" * 5)[:80]
NOTE = ("Mostró el tocón corto en bisel en tres árboles, luego los podaron juntos. " * 6)[:400]


def whole(leaf: Leaf) -> Drawing:
    """Everything on a leaf as one drawing."""
    shapes = tuple(piece.drawing.at(piece.x_mm, piece.y_mm) for piece in leaf.pieces)
    return Drawing(*leaf.size_mm, shapes, "")


def assert_well_printed(document: Document, *, least_pt: float = 9.0) -> None:
    """
    Nothing is clipped or printed over, nothing is too small, and it can be read out.

    One title, first; every figure has a title and a description; what is read has words.
    """
    for leaf in document.leaves:
        drawing = whole(leaf)
        assert_nothing_clipped(drawing, MARGIN_MM)
        for line in printed_lines(drawing):
            assert line.size_pt > least_pt - 0.01, line
    roles = [piece.spoken_as for leaf in document.leaves for piece in leaf.pieces]
    read = [role for role in roles if role is not Role.FURNITURE]
    assert read.count(Role.TITLE) == 1
    assert document.title
    for leaf in document.leaves:
        for piece in leaf.pieces:
            if piece.spoken_as is Role.FIGURE:
                assert piece.drawing.title
                assert piece.drawing.description
