"""
A file of pages: drawings stored once, and its thousands of small objects packed together.

reportlab embeds the fonts and writes what the file says of itself. It would write each page and
each tag as an object of its own, which doubles the size of a deck of cards; here they go into
object streams (ISO 32000-1, 7.5.7), and pages share what they draw from.
"""

import zlib
from collections.abc import Sequence
from io import BytesIO
from typing import Final

from reportlab.lib.units import mm
from reportlab.pdfbase.pdfdoc import (
    BasicFonts,
    PDFDictionary,
    PDFDocument,
    PDFIndirectObject,
    PDFObject,
)

from printables.drawing.canvas import Forms, new_canvas, operators
from printables.drawing.primitives import Drawing
from printables.tagging import Tagging

# A drawing of fewer letters than this costs less in each page than stored apart.
_WORTH_STORING: Final = 400
# Readers unpack a whole stream for one object, so that streams stay small.
_OBJECTS_A_STREAM: Final = 250
_HEADER: Final = b"%PDF-1.7\n%\xe2\xe3\xcf\xd3\n"


class PdfFile:
    """
    Takes pages one by one, and becomes the bytes of a file.

    Parameters
    ----------
    title, author : str
        What the file says of itself.
    language : str
        Language of its words, such as ``"es"``.
    """

    def __init__(self, title: str, author: str, language: str) -> None:
        canvas = new_canvas(BytesIO(), (1.0, 1.0), title=title, author=author, language=language)
        canvas.setViewerPreference("DisplayDocTitle", "true")
        # reportlab has no public way to its file.
        self._document: PDFDocument = canvas._doc  # noqa: SLF001
        self._fonts = self._number(self._document.idToObject[BasicFonts])
        self._forms: Forms[str] = Forms()
        self._form_streams: list[bytes] = []
        self._contents: list[bytes] = []
        self._sizes: list[tuple[float, float]] = []

    def drawn(self, drawing: Drawing, *, again: bool) -> str:
        """
        Write what draws a drawing at the origin.

        Parameters
        ----------
        drawing : Drawing
            The drawing.
        again : bool
            Whether it is drawn more than once; it is then stored apart, unless it is small.

        Returns
        -------
        str
            Operators, in points from the drawing's lower left corner.
        """
        if again:
            return self._forms.get(drawing, self._stored)
        return "\n".join(operators(drawing, self._document))

    def _stored(self, drawing: Drawing) -> str:
        code = "\n".join(operators(drawing, self._document))
        if len(code) < _WORTH_STORING:
            return code
        self._form_streams.append(
            _stream(
                f"/Type /XObject /Subtype /Form /BBox [0 0 {drawing.width_mm * mm:.3f} "
                f"{drawing.height_mm * mm:.3f}] /Resources <</Font {self._fonts} 0 R>>",
                code.encode("latin-1"),
            )
        )
        return f"/D{len(self._form_streams)} Do"

    def add_page(self, size_mm: tuple[float, float], code: Sequence[str]) -> None:
        """
        Add a page.

        Parameters
        ----------
        size_mm : tuple of float
            Width and height of the paper.
        code : sequence of str
            Operators, in points from its lower left corner.
        """
        self._sizes.append(size_mm)
        self._contents.append(_stream("", "\n".join(code).encode("latin-1")))

    def written(self, tagging: Tagging, language: str) -> bytes:
        """
        Write the file.

        Parameters
        ----------
        tagging : Tagging
            What is on each page.
        language : str
            Language of the words.

        Returns
        -------
        bytes
            The file.
        """
        out = _Writer()
        catalogue, info = self._write_reportlab(out)
        forms = [out.add(stream) for stream in self._form_streams]
        contents = [out.add(stream) for stream in self._contents]
        # What is packed follows: what pages draw from, their tree, the pages, the tags.
        resources = out.next_number
        tree = resources + 1
        pages = range(tree + 1, tree + 1 + len(contents))
        held = " ".join([f"/D{place} {number} 0 R" for place, number in enumerate(forms, start=1)])
        kids = " ".join([f"{number} 0 R" for number in pages])
        packed = [
            f"<</Font {self._fonts} 0 R/XObject<<{held}>>>>",
            f"<</Type/Pages/Count {len(contents)}/Kids[{kids}]>>",
        ]
        packed += [
            f"<</Type/Page/Parent {tree} 0 R/MediaBox[0 0 {width * mm:.3f} "
            f"{height * mm:.3f}]/Resources {resources} 0 R/Contents {content} 0 R"
            f"/StructParents {place}/Tabs/S>>"
            for place, (content, (width, height)) in enumerate(
                zip(contents, self._sizes, strict=True)
            )
        ]
        packed += tagging.objects(pages.stop, pages, language)
        out.pack(packed)
        described = self._document.Catalog
        described.Pages, described.StructTreeRoot = f"{tree} 0 R", f"{pages.stop} 0 R"
        out.put(catalogue, self._formatted(catalogue))
        return out.finished(catalogue, info, self._document.signature.hexdigest())

    def _write_reportlab(self, out: "_Writer") -> tuple[int, int]:
        """Write the fonts, and what the file says of itself; the catalogue must wait."""
        document = self._document
        for font in document.delayedFonts:
            font.addObjects(document)
        described = document.Catalog
        described.Outlines = None
        described.Pages = described.StructTreeRoot = "0 0 R"
        described.MarkInfo = PDFDictionary({"Marked": "true"})
        document.info.digest(document.signature)
        document.encrypt.prepare(document)
        catalogue, info = self._number(described), self._number(document.info)
        number = 1
        # Objects may be added while others are formatted.
        while number in document.numberToId:
            formatted = self._formatted(number)
            out.put(out.next_number, b"" if number == catalogue else formatted)
            number += 1
        return catalogue, info

    def _number(self, content: PDFObject) -> int:
        reference = self._document.Reference(content)
        number: int = self._document.idToObjectNumberAndVersion[reference.name][0]
        return number

    def _formatted(self, number: int) -> bytes:
        name = self._document.numberToId[number]
        content = PDFIndirectObject(name, self._document.idToObject[name])
        formatted: bytes = content.format(self._document)
        return formatted


class _Writer:
    """Puts numbered objects one behind the other, and keeps where each is."""

    def __init__(self) -> None:
        self._parts = [_HEADER]
        self._position = len(_HEADER)
        # Where an object is: by its place in the file, or by its stream and its place in that.
        self._entries: dict[int, tuple[int, int, int]] = {0: (0, 0, 65535)}

    @property
    def next_number(self) -> int:
        return len(self._entries)

    def put(self, number: int, formatted: bytes) -> None:
        """Write an object that has its number already; without content, only keep the number."""
        self._entries[number] = (1, self._position, 0)
        self._parts.append(formatted)
        self._position += len(formatted)

    def add(self, content: bytes) -> int:
        """Write an object, and return the number that it gets."""
        number = self.next_number
        self.put(number, b"%d 0 obj\n%s\nendobj\n" % (number, content))
        return number

    def pack(self, contents: Sequence[str]) -> None:
        """Write small objects together; they get the next numbers in order."""
        first = self.next_number
        stream = first + len(contents)
        for start in range(0, len(contents), _OBJECTS_A_STREAM):
            group = contents[start : start + _OBJECTS_A_STREAM]
            offset = 0
            index = []
            for place, content in enumerate(group):
                number = first + start + place
                index.append(f"{number} {offset}")
                offset += len(content) + 1
                self._entries[number] = (2, stream, place)
            head = " ".join(index) + "\n"
            packed = _stream(
                f"/Type /ObjStm /N {len(group)} /First {len(head)}",
                (head + "\n".join(group)).encode("latin-1"),
            )
            self.put(stream, b"%d 0 obj\n%s\nendobj\n" % (stream, packed))
            stream += 1

    def finished(self, catalogue: int, info: int, identifier: str) -> bytes:
        """Write where everything is (ISO 32000-1, 7.5.8), and return the file."""
        number = self.next_number
        begins = self._position
        self._entries[number] = (1, begins, 0)
        table = b"".join(
            [
                kind.to_bytes(1) + where.to_bytes(4) + place.to_bytes(2)
                for _, (kind, where, place) in sorted(self._entries.items())
            ]
        )
        head = (
            f"/Type /XRef /Size {len(self._entries)} /W [1 4 2] /Root {catalogue} 0 R "
            f"/Info {info} 0 R /ID [<{identifier}> <{identifier}>]"
        )
        self.put(number, b"%d 0 obj\n%s\nendobj\n" % (number, _stream(head, table)))
        self._parts.append(b"startxref\n%d\n%%%%EOF\n" % begins)
        return b"".join(self._parts)


def _stream(head: str, content: bytes) -> bytes:
    packed = zlib.compress(content)
    opening = f"<<{head} /Filter /FlateDecode /Length {len(packed)}>>\nstream\n"
    return opening.encode("ascii") + packed + b"\nendstream"
