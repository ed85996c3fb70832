"""Both sides of a pocket card, and cards laid out on sheets."""

from collections.abc import Sequence
from typing import Final

from audits.errors import InvalidInput
from audits.messages import Words, say
from audits.standard import Standard
from printables.cards.back import card_back
from printables.cards.front import all_stages, described, large_print, stages_of
from printables.cards.heading import MARGIN_MM, heading
from printables.cards.one_stage import one_stage
from printables.cards.request import CARD_SIZES_MM, Card, CardFormat, CardRequest, CardStyle
from printables.document import Document, Piece
from printables.drawing.primitives import Drawing
from printables.imposition import CardSheet, Faces, card_sheet, impose
from printables.sheet import Page
from printables.subject import StandardSubject

MOST_COPIES: Final = 500

_BELOW_HEAD_MM: Final = 0.6


def card_faces(request: CardRequest, words: Words) -> Card:
    """
    Draw both sides of a card.

    Parameters
    ----------
    request : CardRequest
        The card.
    words : Words
        The reader's language and units.

    Returns
    -------
    Card
        The sides, true to size, each with a description for those who cannot see it.

    Raises
    ------
    InvalidInput
        If a name, or what must be said, is too long for the card.

    References
    ----------
    .. [1] ISO/IEC 7810, Identification cards - Physical characteristics: ID-1, 85.60 x 53.98 mm.
    .. [2] ISO 216, Writing paper: A7, 74 x 105 mm.
    """
    head = heading(request)
    width, height = request.size_mm
    top = head.drawing.height_mm + _BELOW_HEAD_MM
    room = (width - 2 * MARGIN_MM, height - top - MARGIN_MM)
    stages = stages_of(request)
    match request.style:
        case CardStyle.ALL_STAGES:
            drawn = all_stages(request, words, room)
        case CardStyle.LARGE_PRINT:
            drawn = large_print(request, words, room)
        case CardStyle.ONE_STAGE:
            drawn = one_stage(request, words, room)
            stages = tuple(stage for stage in stages if stage is request.stage)
    front = Drawing(
        width,
        height,
        (*head.drawing.shapes, drawn.at(MARGIN_MM, top)),
        words.say(say("Pocket card: %(block)s", block=request.subject.block)),
        described(request, words, stages),
    )
    return Card(request, front, card_back(request, words), head.name_room)


def sheet_of_cards(page: Page, card_format: CardFormat) -> CardSheet:
    """
    Choose the sheet for cards of a format.

    Parameters
    ----------
    page : Page
        The paper.
    card_format : CardFormat
        Size of the cards.

    Returns
    -------
    CardSheet
        With frames for a bank card where the cards themselves have none.
    """
    return card_sheet(page, CARD_SIZES_MM[card_format], frames=card_format is CardFormat.ID_1)


def placed(card: Card, person: Drawing | None = None) -> Faces:
    """
    Put the drawings of a card where they belong on its two sides.

    Parameters
    ----------
    card : Card
        The card; the same one serves everybody who reads its language.
    person : Drawing or None, optional
        A person's name and code, as `personal` writes them.

    Returns
    -------
    tuple
        Pieces of the front and of the back.
    """
    front = [Piece(card.front, 0.0, 0.0)]
    if person is not None:
        left, top, _, _ = card.name_room
        front.append(Piece(person, left, top))
    return (tuple(front), (Piece(card.back, 0.0, 0.0),))


def pocket_cards(
    subject: StandardSubject,
    standard: Standard,
    languages: Sequence[Words],
    *,
    page: Page = Page.LETTER,
    card_format: CardFormat = CardFormat.A7,
    copies: int | None = None,
) -> Document:
    """
    Print cards with all stages and without names, to be printed on both sides and cut.

    Parameters
    ----------
    subject : StandardSubject
        The block and the version.
    standard : Standard
        The block's rule.
    languages : sequence of Words
        The reader's words; with several, each language gets its copies.
    page : Page, optional
        The paper.
    card_format : CardFormat, optional
        Size of the cards.
    copies : int or None, optional
        Cards of each language; by default one sheet, shared by the languages.

    Returns
    -------
    Document
        Fronts and backs in turn, the same for the same input.

    Raises
    ------
    InvalidInput
        If no language or an impossible number of copies is asked for, or if a name is too long
        for the card.
    """
    if not languages:
        raise InvalidInput({"language": say("Choose at least one language.")})
    sheet = sheet_of_cards(page, card_format)
    if copies is None:
        copies = max(1, sheet.count // len(languages))
    if not 1 <= copies <= MOST_COPIES:
        raise InvalidInput({"copies": say("Print between 1 and %(most)s cards.", most=MOST_COPIES)})
    request = CardRequest(subject, standard, card_format)
    cards = [
        faces for words in languages for faces in [placed(card_faces(request, words))] * copies
    ]
    first = languages[0]
    title = say("Pocket card: %(block)s", block=subject.block)
    return Document(
        first.say(title), subject.farm, first.language, impose(sheet, cards, title, first)
    )
