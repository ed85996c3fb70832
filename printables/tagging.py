"""
Tags in a PDF: what is read out, in which order, and what is said for a picture.

reportlab writes no tags, but lets pages carry marked content and the file a structure tree
(ISO 32000-1, 14.7 and 14.8). Each piece of a page is one element of that tree.
"""

from collections.abc import Iterator
from contextlib import contextmanager

from reportlab.pdfbase.pdfdoc import PDFArray, PDFDictionary, PDFName, PDFString
from reportlab.pdfgen.canvas import Canvas

_ARTIFACT = "Artifact"


class Tagging:
    """
    Tags what is drawn on a canvas, page by page.

    Parameters
    ----------
    canvas : Canvas
        A canvas on which nothing is drawn yet.
    """

    # reportlab has no public way to write operators, or to reach its pages and its catalogue.

    def __init__(self, canvas: Canvas) -> None:
        self._canvas = canvas
        self._document = canvas._doc  # noqa: SLF001
        self._root = PDFDictionary({"Type": PDFName("StructTreeRoot")})
        self._root_reference = self._document.Reference(self._root)
        self._whole = PDFDictionary(
            {"Type": PDFName("StructElem"), "S": PDFName("Document"), "P": self._root_reference}
        )
        self._whole_reference = self._document.Reference(self._whole)
        self._elements: list[object] = []
        self._of_page: list[tuple[str, str]] = []
        self._by_page: list[object] = []

    @contextmanager
    def marked(self, role: str, alternative: str = "") -> Iterator[None]:
        """
        Mark what is drawn meanwhile as one element.

        Parameters
        ----------
        role : str
            A standard structure type such as ``"P"``, or ``"Artifact"`` for what is not read out.
        alternative : str, optional
            What is said instead of a picture.

        Yields
        ------
        None
            While the element is drawn.
        """
        if role == _ARTIFACT:
            self._write("/Artifact BMC")
        else:
            self._write(f"/{role} <</MCID {len(self._of_page)}>> BDC")
            self._of_page.append((role, alternative))
        yield
        self._write("EMC")

    def show_page(self) -> None:
        """End the page, and with it its elements."""
        number = len(self._by_page)
        self._canvas.showPage()
        page = self._document.Pages.pages[-1]
        # The list of what a page may hold is reportlab's, and ends with its year.
        page.__NoDefault__ = [*page.__NoDefault__, "StructParents", "Tabs"]
        page.StructParents = number
        page.Tabs = PDFName("S")
        reference = self._document.Reference(page)
        elements = []
        for content, (role, alternative) in enumerate(self._of_page):
            entries = {
                "S": PDFName(role),
                "P": self._whole_reference,
                "Pg": reference,
                "K": content,
            }
            if alternative:
                entries["Alt"] = PDFString(alternative)
            elements.append(self._document.Reference(PDFDictionary(entries)))
        self._elements += elements
        self._by_page.append(self._document.Reference(PDFArray(elements)))
        self._of_page = []

    def finish(self, language: str) -> None:
        """
        Write the tree into the file's catalogue.

        Parameters
        ----------
        language : str
            Language of the words, such as ``"es"``.
        """
        self._whole.dict["K"] = PDFArray(self._elements)
        self._whole.dict["Lang"] = PDFString(language)
        numbered = [entry for pair in enumerate(self._by_page) for entry in pair]
        parents = PDFDictionary({"Nums": PDFArray(numbered)})
        self._root.dict["K"] = self._whole_reference
        self._root.dict["ParentTree"] = self._document.Reference(parents)
        self._root.dict["ParentTreeNextKey"] = len(self._by_page)
        catalogue = self._document.Catalog
        catalogue.StructTreeRoot = self._root
        catalogue.MarkInfo = PDFDictionary({"Marked": "true"})
        self._canvas.setViewerPreference("DisplayDocTitle", "true")

    def _write(self, operators: str) -> None:
        self._canvas._code.append(operators)  # noqa: SLF001
