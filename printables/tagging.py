"""
Tags in a PDF: what is read out, in which order, and what is said for a picture.

Pages carry marked content and the file a structure tree (ISO 32000-1, 14.7 and 14.8). Each piece
of a page is one element of that tree.
"""

from collections.abc import Iterator, Sequence
from functools import lru_cache

ARTIFACT = "Artifact"
CLOSING = "EMC"


class Tagging:
    """Notes what is on each page, and writes the tree of it."""

    def __init__(self) -> None:
        self._pages: list[tuple[tuple[str, str], ...]] = []
        self._page: list[tuple[str, str]] = []

    def opening(self, role: str, alternative: str = "") -> str:
        """
        Begin an element.

        Parameters
        ----------
        role : str
            A standard structure type such as ``"P"``, or ``"Artifact"`` for what is not read out.
        alternative : str, optional
            What is said instead of a picture.

        Returns
        -------
        str
            The operator that goes before what is drawn; `CLOSING` goes behind it.
        """
        if role == ARTIFACT:
            return "/Artifact BMC"
        self._page.append((role, alternative))
        return f"/{role} <</MCID {len(self._page) - 1}>> BDC"

    def end_page(self) -> None:
        """End a page, and with it its elements."""
        self._pages.append(tuple(self._page))
        self._page = []

    @property
    def count(self) -> int:
        """Objects of the tree: its root, the whole, and each element."""
        return 2 + sum(map(len, self._pages))

    def objects(self, first: int, pages: Sequence[int], language: str) -> Iterator[str]:
        """
        Write the tree.

        Parameters
        ----------
        first : int
            Number of its root among the objects of the file; the others follow.
        pages : sequence of int
            Numbers of the pages.
        language : str
            Language of the words, such as ``"es"``.

        Yields
        ------
        str
            Its objects in order, each byte a letter.
        """
        elements = range(first + 2, first + self.count)
        numbers = iter(elements)
        parents = " ".join(
            f"{place}[{_references([next(numbers) for _ in page])}]"
            for place, page in enumerate(self._pages)
        )
        yield (
            f"<</Type/StructTreeRoot/K {first + 1} 0 R/ParentTree<</Nums[{parents}]>>"
            f"/ParentTreeNextKey {len(self._pages)}>>"
        )
        yield (
            f"<</Type/StructElem/S/Document/P {first} 0 R/Lang{string(language)}"
            f"/K[{_references(elements)}]>>"
        )
        for page, held in zip(pages, self._pages, strict=True):
            for place, (role, alternative) in enumerate(held):
                said = f"/Alt{string(alternative)}" if alternative else ""
                yield f"<</S/{role}/P {first + 1} 0 R/Pg {page} 0 R/K {place}{said}>>"


def _references(numbers: Sequence[int]) -> str:
    return " ".join([f"{number} 0 R" for number in numbers])


# Letters below this and above 160 have the same codes in PDFs as in Latin-1.
_PLAIN = frozenset(map(chr, (*range(32, 127), *range(0xA1, 0xAD), *range(0xAE, 0x100))))
_ESCAPES = {ord(letter): f"\\{letter}" for letter in "()\\"}


@lru_cache(maxsize=256)
def string(text: str) -> str:
    """
    Write a text string.

    Parameters
    ----------
    text : str
        The text.

    Returns
    -------
    str
        The string as it stands in the file, each byte a letter.
    """
    if _PLAIN.issuperset(text):
        return f"({text.translate(_ESCAPES)})"
    return f"<FEFF{text.encode('utf-16-be').hex().upper()}>"
