"""Gauges to true scale on strips to be cut, with the means to check that the scale was kept."""

from datetime import date
from typing import Final

from audits.errors import InvalidInput
from audits.messages import Words, say
from audits.plain_words import Band
from audits.standard import Standard
from audits.units import Length, LengthKind
from printables.document import Document, Leaf, Piece
from printables.drawing.gauge import GaugeLabels, limb_gauge, pencil_gauge
from printables.drawing.primitives import Drawing, Shape
from printables.imposition import CardSheet, around, card_sheet, headed
from printables.paragraphs import Run, paragraph, stacked
from printables.sheet import PAGE_SIZES_MM, Page
from printables.subject import StandardSubject

MOST_SHEETS: Final = 100

# Two strips side by side leave room for the upright bars; limbs of more than about two inches ask
# for a strip as wide as both.
_WIDTHS_MM: Final = (86.0, 172.0)
_LEAST_HEIGHT_MM: Final = 34.0
_MARGIN_MM: Final = 3.0
# From the strip's left edge to the first gauge, and between the gauges.
GAUGE_LEFT_MM: Final = 1.0
_BETWEEN_MM: Final = 1.5
_SMALL_PT: Final = 9.0


def gauge_sheet(
    subject: StandardSubject,
    standard: Standard,
    words: Words,
    *,
    page: Page = Page.LETTER,
    batch: int | None = None,
    printed_on: date | None = None,
    copies: int = 1,
) -> Document:
    """
    Print the gauges of a standard on strips, with frames and bars to check the scale.

    Parameters
    ----------
    subject : StandardSubject
        The block and the version.
    standard : Standard
        The block's rule.
    words : Words
        The reader's language and units.
    page : Page, optional
        The paper.
    batch : int or None, optional
        Number of the print batch; none for one that is only looked at.
    printed_on : date or None, optional
        The day of printing.
    copies : int, optional
        How many sheets, all alike.

    Returns
    -------
    Document
        The sheets, one side each.

    Raises
    ------
    InvalidInput
        If an impossible number of sheets is asked for.

    References
    ----------
    .. [1] ISO/IEC 7810, Identification cards - Physical characteristics: ID-1, 85.60 x 53.98 mm.
    """
    if not 1 <= copies <= MOST_SHEETS:
        raise InvalidInput(
            {"copies": say("Print between 1 and %(most)s sheets.", most=MOST_SHEETS)}
        )
    strip = gauge_strip(subject, standard, words, batch=batch, printed_on=printed_on)
    sheet = strip_sheet(page, strip)
    title = say("Gauge sheet: %(block)s", block=subject.block)
    if batch is not None:
        title = say(
            "Gauge sheet: %(block)s, %(batch)s", block=subject.block, batch=batch_name(batch)
        )
    told = (
        say("Print on one side. Check with a bank card before you cut."),
        say("Each bar must be true with a steel rule."),
    )
    frame = headed(around(sheet, title, told, words, short=True))
    strips = tuple(Piece(strip, *sheet.front(place)) for place in range(sheet.count))
    leaf = Leaf(PAGE_SIZES_MM[page], (*frame, *strips))
    return Document(words.say(title), subject.farm, words.language, [leaf] * copies)


def strip_sheet(page: Page, strip: Drawing) -> CardSheet:
    """
    Lay strips out on a sheet.

    Parameters
    ----------
    page : Page
        The paper.
    strip : Drawing
        One strip.

    Returns
    -------
    CardSheet
        The layout.
    """
    return card_sheet(page, (strip.width_mm, strip.height_mm))


def batch_name(number: int) -> str:
    """
    Name a print batch as it stands on what was printed.

    Parameters
    ----------
    number : int
        Its number.

    Returns
    -------
    str
        Such as ``"B12"``.
    """
    return f"B{number}"


def gauge_strip(
    subject: StandardSubject,
    standard: Standard,
    words: Words,
    *,
    batch: int | None = None,
    printed_on: date | None = None,
) -> Drawing:
    """
    Draw one strip: both gauges on its upper edge, and what they are below.

    Parameters
    ----------
    subject : StandardSubject
        The block and the version.
    standard : Standard
        The block's rule.
    words : Words
        The reader's language and units.
    batch : int or None, optional
        Number of the print batch.
    printed_on : date or None, optional
        The day of printing.

    Returns
    -------
    Drawing
        True to scale at scale 1.
    """
    pencil, limb = gauges(standard, words)
    limb_left = GAUGE_LEFT_MM + pencil.width_mm + _BETWEEN_MM
    needed = limb_left + limb.width_mm + GAUGE_LEFT_MM
    width = next((width for width in _WIDTHS_MM if width >= needed), _WIDTHS_MM[-1])
    inner = width - 2 * _MARGIN_MM
    gauges_mm = max(pencil.height_mm, limb.height_mm)
    shapes: list[Shape] = [pencil.at(GAUGE_LEFT_MM, 0.0), limb.at(limb_left, 0.0)]
    lines = []
    how = [Run(words.say(say("Hold this edge on the wood. Lay it flat. Close one eye.")))]
    beside = paragraph(how, max(width - _MARGIN_MM - needed, 1.0), _SMALL_PT, leading=1.15)
    if beside.height_mm <= gauges_mm + 0.3:
        shapes.append(beside.at(needed, 0.0))
    else:
        lines.append(paragraph(how, inner, _SMALL_PT))
    version = [Run(words.say(subject.version_words()))]
    if batch is not None:
        version.insert(0, Run(f"{batch_name(batch)}.", bold=True))
    lines += [
        paragraph([Run(subject.block, bold=True)], inner, _SMALL_PT),
        paragraph(version, inner, _SMALL_PT),
    ]
    if printed_on is not None:
        printed = say("Printed on %(day)s", day=printed_on)
        lines.append(paragraph([Run(words.say(printed))], inner, _SMALL_PT))
    letters = stacked(lines, inner, 0.6)
    shapes.append(letters.at(_MARGIN_MM, gauges_mm + 0.6))
    height = max(_LEAST_HEIGHT_MM, gauges_mm + 0.6 + letters.height_mm + 2.0)
    title = words.say(say("Gauges: %(block)s", block=subject.block))
    description = f"{pencil.title}. {pencil.description} {limb.title}. {limb.description}"
    return Drawing(width, height, tuple(shapes), title, description)


def gauges(standard: Standard, words: Words) -> tuple[Drawing, Drawing]:
    """
    Draw the gauges of a standard.

    Parameters
    ----------
    standard : Standard
        The block's rule.
    words : Words
        The reader's language and units.

    Returns
    -------
    tuple of Drawing
        The pencil gauge and the limb gauge, both to be placed on an upper edge.
    """
    heading, limbs = standard.heading, standard.limbs
    pencil = pencil_gauge(
        heading.thinnest_mm,
        heading.thickest_mm,
        GaugeLabels(
            words.say(say("Pencil gauge")),
            words.say(say("Lay the wood at the stop. Its other side must end in the band.")),
            words.show(Band(heading.thinnest_mm, heading.thickest_mm)),
        ),
    )
    limb = limb_gauge(
        limbs.large_mm,
        GaugeLabels(
            words.say(say("Limb gauge")),
            words.say(say("Lay the limb at the stop. If it reaches the block, it is large.")),
            words.show(Length(limbs.large_mm, LengthKind.DIAMETER)),
        ),
    )
    return pencil, limb
