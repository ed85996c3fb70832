"""
A deck of 500 personalised cards against a file written by hand.

Each card carries its worker's name and code; front and back are alike on all. A code to scan is
the same on the whole batch, or, which is harder, one for each person. The floor is a plain writer
of PDF, made for this very deck: the same pages, shapes and words, everything alike stored once,
streams packed by zlib, but letters of a built-in font, which are not in the file, and no tags.

Memory is the peak of a process of its own, and counts Python and reportlab themselves. Lines on
bytes and memory stand in thousandths: kB and MB where others have ms.
"""

import json
import subprocess
import sys
import zlib
from collections.abc import Iterator
from functools import lru_cache
from io import BytesIO
from itertools import product
from pathlib import Path

from audits.messages import ENGLISH, say
from audits.standard import Standard, preset
from audits.vocabulary import BearingHabit, Stage
from printables.document import Document, Leaf, Piece, to_pdf
from printables.drawing.canvas import new_canvas
from printables.drawing.gauge import length_bar
from printables.drawing.inks import APPEARANCES
from printables.drawing.palette import COLOURS
from printables.drawing.primitives import (
    Cells,
    Circle,
    Drawing,
    Rect,
    Text,
    as_path,
    flattened,
)
from printables.drawing.qr import qr_drawing
from printables.gauge_sheet import gauges
from printables.imposition import card_sheet, impose
from printables.sheet import PAGE_SIZES_MM, Page
from printables.stage_pictures import stage_picture
from tests.benchmarks.timing import Line, at_least_faster, at_most, take_turns
from tests.paper import draw_on

CARDS = 500
A7_MM = (74.0, 105.0)
MOST_MB, MOST_BYTES = 60.0, 1.4
POINT = 72 / 25.4

FIRST = ("Rosa", "Joaquín", "Aurelia", "Íñigo", "Marta", "Tomás", "Zoë", "Ramón", "Élia", "Olga")
MIDDLE = ("Ibarra", "Nuñez", "Quintero", "Salcedo", "Peña")
LAST = ("Ortega", "Muñoz", "Vidal", "Ríos", "Castañeda", "Luna", "Bravo", "Soto", "Mejía", "Ochoa")
PEOPLE = [
    (" ".join(names), f"W{number:05d}")
    for number, names in enumerate(product(FIRST, MIDDLE, LAST), start=1)
]


@lru_cache(maxsize=1)
def alike() -> tuple[Drawing, Drawing]:
    """Draw what all cards have in common."""
    standard: Standard = preset(BearingHabit.STANDARD, 11 * 304.8, top_wire_mm=3048.0)
    pictures = [stage_picture(standard, stage, ENGLISH) for stage in Stage]
    front = Drawing(
        *A7_MM,
        (
            Text(3.0, 5.6, "Gala Home 3", 4.2, bold=True),
            *(
                picture.at(2.0 + place % 2 * 35.0, 18.0 + place // 2 * 43.0)
                for place, picture in enumerate(pictures)
            ),
        ),
        "Gala Home 3",
        "Four stages.",
    )
    pencil, limb = gauges(standard, ENGLISH)
    lines = [
        "Look up. Stay far from power lines.",
        "Stay off the top steps of the ladder.",
        "Keep your free hand away from the blade.",
        "Local rules come first.",
        "Canker or fire blight: mark the tree.",
        "Tell the supervisor.",
        "Standard 2, from Dec 1, 2025. B12.",
    ]
    back = Drawing(
        *A7_MM,
        (
            pencil.at(1.0, 0.0),
            limb.at(3.0 + pencil.width_mm, 0.0),
            length_bar(50.0, "Bar", "50 mm").at(3.0, 20.0),
            *(Text(3.0, 34.0 + 4.0 * row, line, 3.175) for row, line in enumerate(lines)),
        ),
        "Gauges and safety",
        "Two gauges and a bar.",
    )
    return front, back


def person(name: str, code: str) -> Drawing:
    """Write whose card it is."""
    return Drawing(
        68.0, 9.0, (Text(0.0, 4.0, name, 4.2, bold=True), Text(0.0, 8.2, code, 3.175)), name
    )


def code_of(number: int, *, each: bool) -> str:
    """Return what a card's code says."""
    return f"https://audit.local/b/3?card=12{f'&w={PEOPLE[number][1]}' if each else ''}"


@lru_cache(maxsize=CARDS + 1)
def code_drawing(text: str) -> Drawing:
    """Draw a code; finding its pattern is a cost of its own, and is left out on both sides."""
    return qr_drawing(text, 26.0, "Code of the block's page", text)


def deck(*, each: bool) -> Document:
    """Lay the deck out."""
    front, back = alike()
    sheet = card_sheet(Page.LETTER, A7_MM)
    cards = [
        (
            (Piece(front, 0.0, 0.0), Piece(person(*someone), 3.0, 7.0)),
            (
                Piece(back, 0.0, 0.0),
                Piece(code_drawing(code_of(number, each=each)), 45.0, 76.0),
            ),
        )
        for number, someone in enumerate(PEOPLE)
    ]
    leaves = impose(sheet, cards, say("Pocket card: %(block)s", block="Gala Home 3"), ENGLISH)
    return Document("Pocket cards", "Alder Flat", "en", leaves)


def ours(*, each: bool) -> bytes:
    """Write the deck as the tool does."""
    return to_pdf(deck(each=each))


def directly(*, each: bool) -> bytes:
    """Write the deck card by card, nothing stored once."""
    document = deck(each=each)
    target = BytesIO()
    size_mm = PAGE_SIZES_MM[Page.LETTER]
    canvas = new_canvas(target, size_mm, title="", author="", language="en")
    for leaf in document.leaves:
        for piece in leaf.pieces:
            draw_on(canvas, piece.drawing, piece.x_mm, piece.y_mm)
        canvas.showPage()
    canvas.save()
    return target.getvalue()


# --- the floor


class Floor:
    """A writer of just these pages: no tags, no fonts, no checks."""

    def __init__(self, leaves: list[Leaf]) -> None:
        self.objects: list[bytes] = [b"", b"", _font("Helvetica"), _font("Helvetica-Bold")]
        self.forms: dict[int, int] = {}
        uses: dict[int, int] = {}
        for leaf in leaves:
            for piece in leaf.pieces:
                uses[id(piece.drawing)] = uses.get(id(piece.drawing), 0) + 1
        kids = []
        for leaf in leaves:
            height = leaf.size_mm[1]
            parts = []
            for piece in leaf.pieces:
                drawing = piece.drawing
                y = (height - piece.y_mm - drawing.height_mm) * POINT
                place = f"q 1 0 0 1 {piece.x_mm * POINT:.2f} {y:.2f} cm"
                if uses[id(drawing)] > 1:
                    parts.append(f"{place} /D{self.form(drawing)} Do Q")
                else:
                    parts.append(f"{place} {operators(drawing)} Q")
            content = self.add(_stream("", "\n".join(parts)))
            kids.append(self.add(b"<</Type/Page/Parent 2 0 R/Contents %d 0 R>>" % content))
        width, height = (side * POINT for side in leaves[0].size_mm)
        forms = "".join(f"/D{number} {number} 0 R" for number in self.forms.values())
        self.objects[0] = b"<</Type/Catalog/Pages 2 0 R>>"
        self.objects[1] = (
            f"<</Type/Pages/Count {len(kids)}/MediaBox[0 0 {width:.2f} {height:.2f}]"
            f"/Resources<</Font<</R 3 0 R/B 4 0 R>>/XObject<<{forms}>>>>"
            f"/Kids[{' '.join(f'{kid} 0 R' for kid in kids)}]>>"
        ).encode()

    def add(self, content: bytes) -> int:
        self.objects.append(content)
        return len(self.objects)

    def form(self, drawing: Drawing) -> int:
        if id(drawing) not in self.forms:
            head = (
                "/Type/XObject/Subtype/Form/Resources<</Font<</R 3 0 R/B 4 0 R>>>>"
                f"/BBox[0 0 {drawing.width_mm * POINT:.2f} {drawing.height_mm * POINT:.2f}]"
            )
            self.forms[id(drawing)] = self.add(_stream(head, operators(drawing)))
        return self.forms[id(drawing)]

    def written(self) -> bytes:
        out = [b"%PDF-1.4\n"]
        offsets = []
        position = len(out[0])
        for number, content in enumerate(self.objects, start=1):
            offsets.append(position)
            out.append(b"%d 0 obj\n%s\nendobj\n" % (number, content))
            position += len(out[-1])
        count = len(self.objects) + 1
        out.append(b"xref\n0 %d\n0000000000 65535 f \n" % count)
        out += [b"%010d 00000 n \n" % offset for offset in offsets]
        out.append(b"trailer<</Size %d/Root 1 0 R>>\nstartxref\n%d\n%%%%EOF" % (count, position))
        return b"".join(out)


def _font(name: str) -> bytes:
    return f"<</Type/Font/Subtype/Type1/BaseFont/{name}/Encoding/WinAnsiEncoding>>".encode()


def _stream(head: str, content: str) -> bytes:
    packed = zlib.compress(content.encode("cp1252"), 6)
    opening = f"<<{head}/Filter/FlateDecode/Length {len(packed)}>>stream\n".encode()
    return opening + packed + b"\nendstream"


def operators(drawing: Drawing) -> str:
    """Write a drawing's operators, in points from its lower left corner."""
    height = drawing.height_mm
    out = []
    state = None

    def at(point: tuple[float, float]) -> str:
        return f"{point[0] * POINT:.2f} {(height - point[1]) * POINT:.2f}"

    for placed in flattened(drawing):
        shape = placed.shape
        look = APPEARANCES[shape.ink]
        if (look, placed.scale) != state:
            state = (look, placed.scale)
            if look.fill:
                out.append(f"{_rgb(look.fill)} rg")
            if look.stroke:
                dash = " ".join(f"{length * placed.scale * POINT:.2f}" for length in look.dash_mm)
                width = look.width_mm * placed.scale * POINT
                out.append(f"{_rgb(look.stroke)} RG {width:.2f} w 1 j 1 J [{dash}] 0 d")
        paint = "B" if look.fill and look.stroke else "f" if look.fill else "S"
        if isinstance(shape, Text):
            letters = shape.text.replace("\\", r"\\").replace("(", r"\(").replace(")", r"\)")
            font = "B" if shape.bold else "R"
            size = f"{shape.size_mm * POINT:.2f}"
            out.append(f"BT /{font} {size} Tf {at((shape.x_mm, shape.y_mm))} Td ({letters}) Tj ET")
        elif isinstance(shape, Cells):
            cell = shape.cell_mm * POINT
            left, top = shape.x_mm * POINT, (height - shape.y_mm) * POINT
            runs = " ".join(f"{first} {-1 - row} {count} 1 re" for row, first, count in shape.runs)
            out.append(f"q {cell:.4f} 0 0 {cell:.4f} {left:.2f} {top:.2f} cm {runs} f Q")
        elif isinstance(shape, Rect):
            corner = at((shape.x_mm, shape.y_mm + shape.height_mm))
            size = f"{shape.width_mm * POINT:.2f} {shape.height_mm * POINT:.2f}"
            out.append(f"{corner} {size} re {paint}")
        elif isinstance(shape, Circle):
            x, y = shape.centre
            r, k = shape.radius_mm, 0.5523 * shape.radius_mm
            curves = " ".join(
                " ".join(at((x + dx, y + dy)) for dx, dy in points) + " c"
                for points in (
                    ((r, k), (k, r), (0, r)),
                    ((-k, r), (-r, k), (-r, 0)),
                    ((-r, -k), (-k, -r), (0, -r)),
                    ((k, -r), (r, -k), (r, 0)),
                )
            )
            out.append(f"{at((x + r, y))} m {curves} {paint}")
        else:
            path = as_path(shape)
            steps = " ".join(
                " ".join(map(at, step)) + (" l" if len(step) == 1 else " c") for step in path.steps
            )
            out.append(f"{at(path.start)} m {steps} {'h ' if path.closed else ''}{paint}")
    return "\n".join(out)


def _rgb(name: str) -> str:
    colour = COLOURS[name]
    return " ".join(f"{int(colour[place : place + 2], 16) / 255:.3f}" for place in (1, 3, 5))


# --- the lines


def lines() -> Iterator[Line]:
    """Measure decks with one code, and with a code for each person; ours lays them out as well."""
    for each, what in ((False, "one code"), (True, "a code each")):
        what = f"{CARDS} cards, {what}"  # noqa: PLW2901 - the same, said in full
        leaves = deck(each=each).leaves
        _assert_same_words(ours(each=each), Floor(leaves).written())
        times = take_turns(
            {
                "ours": lambda each=each: ours(each=each),
                "floor": lambda leaves=leaves: Floor(leaves).written(),
            },
            rounds=9,
        )
        yield at_most(f"{what}: written by hand", times["ours"], times["floor"], 4)
        direct = take_turns({"direct": lambda each=each: directly(each=each)}, rounds=2)
        yield at_least_faster(f"{what}: each drawn by itself", times["ours"], direct["direct"], 8)
        ours_bytes, floor_bytes = len(ours(each=each)), len(Floor(leaves).written())
        yield at_most(
            f"{what}, kB: written by hand", ours_bytes / 1e6, floor_bytes / 1e6, MOST_BYTES
        )
        yield at_most(f"{what}, peak MB: {MOST_MB:g}", _peak_mb(each=each) / 1e3, MOST_MB / 1e3, 1)


def _assert_same_words(*files: bytes) -> None:
    """A floor that left something out would be no floor."""
    import pypdfium2

    first, second = (
        [sorted(page.get_textpage().get_text_range().split()) for page in document]
        for document in map(pypdfium2.PdfDocument, files)
    )
    assert first == second


def _peak_mb(*, each: bool) -> float:
    """Run the deck in a process of its own, and return its peak."""
    command = [sys.executable, "-m", "tests.benchmarks.cards", "each" if each else "one"]
    ran = subprocess.run(command, check=True, capture_output=True, text=True)
    return float(json.loads(ran.stdout))


if __name__ == "__main__":
    ours(each=sys.argv[1] == "each")
    # Not `ru_maxrss`: a child inherits its parent's.
    status = Path("/proc/self/status").read_text(encoding="ascii")
    sys.stdout.write(json.dumps(int(status.split("VmHWM:")[1].split()[0]) / 1024))
