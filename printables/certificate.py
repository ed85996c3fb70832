"""The certificate of sign-off: which stages a worker learned, by which rule, and who signed."""

from dataclasses import dataclass
from datetime import date
from typing import Final

from audits.messages import Message, Words, say, say_n
from audits.standard import SignOffRule
from audits.vocabulary import STAGE_NAMES, Stage
from printables.blanks import blank_fields
from printables.document import Document, Leaf, Piece, Role
from printables.drawing.inks import Ink
from printables.drawing.lettering import text_lines, text_width
from printables.drawing.pictograms import SIZE_MM as PICTOGRAM_MM
from printables.drawing.pictograms import stage_pictogram
from printables.drawing.primitives import Anchor, Drawing, Line, Rect, Text
from printables.fonts import require_letters
from printables.paragraphs import POINT_MM, Run, paragraph, stacked
from printables.sheet import PAGE_SIZES_MM, Page
from printables.sheet_frame import TEXT_PT
from printables.training_record import rule_words

NAME_PT: Final = 26.0
LEAST_NAME_PT: Final = 16.0
TITLE_PT: Final = 22.0
LEAD_PT: Final = 14.0

_FRAME_MM: Final = 12.0
_INSIDE_MM: Final = 22.0
_PICTOGRAM_MM: Final = 20.0
_BETWEEN_MM: Final = 7.0


@dataclass(frozen=True)
class SignedStage:
    """
    A stage that was signed off.

    Parameters
    ----------
    stage : Stage
        The stage.
    headline : Message
        What the standard asks in it, in one sentence.
    rule : SignOffRule
        The rule by which it was signed off.
    trees : int
        Trees on which the rule was met.
    signed_on : date
        The day, as the farm's calendar has it.
    signed_by : str
        Who signed.
    block : str
        The block whose standard held.
    version : int
        Number of that standard's version.
    """

    stage: Stage
    headline: Message
    rule: SignOffRule
    trees: int
    signed_on: date
    signed_by: str
    block: str
    version: int


@dataclass(frozen=True)
class Certificate:
    """
    A certificate, ready to be printed.

    Parameters
    ----------
    farm, worker : str
        Their names.
    issued_on : date
        The day of the certificate.
    stages : tuple of SignedStage
        The stages, from the top of the tree down; at least one.

    Raises
    ------
    InvalidInput
        If a name has letters that the printed font lacks.
    ValueError
        If there is no stage.
    """

    farm: str
    worker: str
    issued_on: date
    stages: tuple[SignedStage, ...]

    def __post_init__(self) -> None:
        if not self.stages:
            raise ValueError("stages is empty; a certificate names at least one")
        require_letters(
            {
                "farm": self.farm,
                "worker": self.worker,
                "signed_by": " ".join(each.signed_by for each in self.stages),
                "block": " ".join(each.block for each in self.stages),
            }
        )


def sign_off_certificate(
    certificate: Certificate, words: Words, *, page: Page = Page.LETTER
) -> Document:
    """
    Print a certificate of sign-off on one page.

    Parameters
    ----------
    certificate : Certificate
        What it says.
    words : Words
        The worker's language.
    page : Page, optional
        The paper.

    Returns
    -------
    Document
        Its page; the same for the same input.
    """
    title = words.say(say("Certificate of sign-off: %(name)s", name=certificate.worker))
    leaf = Leaf(PAGE_SIZES_MM[page], certificate_pieces(certificate, words, page))
    return Document(title, certificate.farm, words.language, (leaf,))


def certificate_pieces(certificate: Certificate, words: Words, page: Page) -> tuple[Piece, ...]:
    """
    Place what stands on a certificate.

    Parameters
    ----------
    certificate : Certificate
        What it says.
    words : Words
        The worker's language.
    page : Page
        The paper.

    Returns
    -------
    tuple of Piece
        The pieces, in the order in which they are read.
    """
    width, height = PAGE_SIZES_MM[page]
    room = width - 2 * _INSIDE_MM
    stages = [_stage(each, words, room) for each in certificate.stages]
    foot = _foot(certificate, words, room)
    # What is left goes between the stages and above them; the rest stays free above the signature.
    for lead_pt, roominess in _HEADS:
        head = _head(certificate, words, room, lead_pt)
        upper = sum(drawing.height_mm + roominess * below for drawing, below, _ in head)
        left = height - 2 * _INSIDE_MM - upper - foot.height_mm
        left -= sum(stage.height_mm for stage in stages)
        if left >= _LEAST_LEFT_MM:
            break
    between = min(_BETWEEN_MM, left / (len(stages) + 1))
    around = (left - between * (len(stages) - 1)) / 2
    pieces = [Piece(_frame(page), 0.0, 0.0, Role.FURNITURE)]
    top = _INSIDE_MM
    for drawing, below, role in head:
        pieces.append(Piece(drawing, _INSIDE_MM, top, role))
        top += drawing.height_mm + roominess * below
    top += min(around, _ABOVE_MM)
    for stage in stages:
        pieces.append(Piece(stage, _INSIDE_MM, top, Role.TEXT))
        top += stage.height_mm + between
    bottom = height - _INSIDE_MM - foot.height_mm
    pieces.append(Piece(foot, _INSIDE_MM, bottom, Role.TEXT))
    return tuple(pieces)


# Size of the head's sentences and how roomy it is: closer where names are long.
_HEADS: Final = ((14.0, 1.0), (12.0, 0.6), (12.0, 0.3))
_LEAST_LEFT_MM: Final = 14.0
_ABOVE_MM: Final = 14.0


def _frame(page: Page) -> Drawing:
    """Draw two plain frames, a heavy one and a fine one inside it."""
    width, height = PAGE_SIZES_MM[page]
    edge, inner = _FRAME_MM, _FRAME_MM + 2.0
    shapes = (
        Rect(edge, edge, width - 2 * edge, height - 2 * edge, Ink.HEAVY_LINE),
        Rect(inner, inner, width - 2 * inner, height - 2 * inner, Ink.FINE_LINE),
    )
    return Drawing(width, height, shapes, "")


def _centred(text: str, width_mm: float, size_pt: float, *, bold: bool = False) -> Drawing:
    size = size_pt * POINT_MM
    lines = text_lines(
        Text(width_mm / 2, 0.95 * size, text, size, anchor=Anchor.MIDDLE, bold=bold),
        width_mm,
        even=True,
    )
    height = lines[-1].y_mm + 0.27 * size if lines else 0.0
    return Drawing(width_mm, height, lines, text)


def _name(name: str, width_mm: float) -> Drawing:
    """Set a name as large as fits in one line, else smaller in two."""
    for size_pt in (NAME_PT, 22.0, 19.0, LEAST_NAME_PT):
        if text_width(name, size_pt * POINT_MM, bold=True) <= width_mm:
            return _centred(name, width_mm, size_pt, bold=True)
    # Words longer than a line are broken by the paragraph, which centres nothing.
    if any(
        text_width(word, LEAST_NAME_PT * POINT_MM, bold=True) > width_mm for word in name.split()
    ):
        return paragraph([Run(name, bold=True)], width_mm, LEAST_NAME_PT)
    return _centred(name, width_mm, LEAST_NAME_PT, bold=True)


def _head(
    certificate: Certificate, words: Words, width_mm: float, lead_pt: float
) -> list[tuple[Drawing, float, Role]]:
    """Set what stands above the stages, each with the room below it and its role."""
    said = say_n(
        "learned this stage of pruning on this farm and was signed off in it.",
        "learned these %(count)s stages of pruning on this farm and was signed off in them.",
        len(certificate.stages),
    )
    title = words.say(say("Certificate of sign-off"))
    return [
        (_centred(certificate.farm, width_mm, lead_pt), 5.0, Role.TEXT),
        (_centred(title, width_mm, TITLE_PT), 7.0, Role.TITLE),
        (_name(certificate.worker, width_mm), 4.0, Role.TEXT),
        (_centred(words.say(said), width_mm, lead_pt), 0.0, Role.TEXT),
    ]


def _stage(signed: SignedStage, words: Words, width_mm: float) -> Drawing:
    name = words.say(STAGE_NAMES[signed.stage])
    left = _PICTOGRAM_MM + 6.0
    room = width_mm - left
    by_whom = say("Signed off on %(day)s by %(name)s.", day=signed.signed_on, name=signed.signed_by)
    standard = say("%(block)s, standard %(version)s", block=signed.block, version=signed.version)
    seen = say_n("Seen on %(count)s tree.", "Seen on %(count)s trees.", signed.trees)
    said = stacked(
        [
            paragraph([Run(f"{name}.", bold=True), Run(words.say(signed.headline))], room, LEAD_PT),
            paragraph([Run(f"{words.say(standard)}."), Run(words.say(seen))], room, TEXT_PT),
            paragraph([Run(words.say(rule_words(signed.rule)))], room, TEXT_PT),
            paragraph([Run(words.say(by_whom))], room, TEXT_PT),
        ],
        room,
        0.6,
    )
    height = max(said.height_mm, _PICTOGRAM_MM) + 2.6
    shapes = (
        Line((0.0, 0.0), (width_mm, 0.0), Ink.HAIRLINE),
        stage_pictogram(signed.stage, name).at(0.0, 2.6, _PICTOGRAM_MM / PICTOGRAM_MM),
        said.at(left, 2.6),
    )
    return Drawing(width_mm, height, shapes, said.title or name)


def _foot(certificate: Certificate, words: Words, width_mm: float) -> Drawing:
    own = say(
        "This is the farm's own statement. It is no license, and it stands for no training that "
        "the law asks for."
    )
    issued = say("Issued on %(day)s.", day=certificate.issued_on)
    fields = [(words.say(say("For the farm")), 1.6), (words.say(say("Date")), 1.0)]
    return stacked(
        [
            blank_fields(fields, width_mm),
            paragraph([Run(words.say(own)), Run(words.say(issued))], width_mm, TEXT_PT),
        ],
        width_mm,
        4.0,
        words.say(own),
    )
