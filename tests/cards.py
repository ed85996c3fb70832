"""Standards, blocks and requests for tests of pocket cards."""

from dataclasses import replace
from datetime import date
from functools import cache

from audits.messages import ENGLISH, Units
from audits.standard import preset, read_standard
from audits.vocabulary import BearingHabit, HeadingRule, Method, Stage
from printables.cards import CardFormat, CardRequest, CardStyle, card_faces
from printables.subject import StandardSubject
from tests.reading import METRIC_ENGLISH, spanish_words

ROW_11_FT_MM = 11 * 304.8
ADDRESS = "https://192.168.1.20:8443/blocks/3?card=12"


def changed(habit=BearingHabit.STANDARD, **changes):
    """A preset with some fields changed, such as ``limbs__most=3``."""
    payload = preset(habit, ROW_11_FT_MM, top_wire_mm=3048.0).model_dump()
    for name, value in changes.items():
        stage, _, field = name.partition("__")
        if field:
            payload[stage][field] = value
        else:
            payload[stage] = value
    return read_standard(payload)


USUAL = changed(heading__rule=HeadingRule.REQUIRED)
STANDARDS = {
    "usual": USUAL,
    "heading off": changed(),
    "heading forbidden": changed(BearingHabit.TIP),
    "two to three limbs": changed(limbs__most=3, heading__rule=HeadingRule.REQUIRED),
    "one limb or none": changed(limbs__least=0, limbs__most=1),
    "no limb": changed(limbs__least=0, limbs__most=0),
    "above the wire": changed(top_wire_mm=2_650.0, heading__rule=HeadingRule.REQUIRED),
    "level with the wire": changed(top__target_mm=3048.0),
    "no wire": changed(top_wire_mm=None),
    "top and limbs only": changed(columns__in_use=False, heading__in_use=False),
    "columns only": changed(top__in_use=False, limbs__in_use=False, heading__in_use=False),
}
SUBJECT = StandardSubject(
    farm="Alder Flat",
    block="Gala Home 3",
    version=2,
    in_force_from=date(2025, 12, 1),
    emergency_location="Gate 3, Mill Road",
    first_aider="Ana Ruiz",
)
LONG_NAMES = StandardSubject(
    farm="Alder Flat",
    block="Honeycrisp Upper Bench 12B, east of the pond",
    version=12,
    in_force_from=date(2025, 12, 28),
    method=Method.PLATFORM,
    low_bloom=True,
    emergency_location="Corner of Mill Road and County Road 14, by the red pump house",
    first_aider="María de los Ángeles Hernández-Quintanar",
)

# Each format in each style that it is offered in, one card for each stage.
KINDS = [
    (card_format, style, stage)
    for card_format in CardFormat
    for style in CardStyle
    for stage in (Stage if style is CardStyle.ONE_STAGE else (None,))
    if not (style is CardStyle.LARGE_PRINT and card_format is CardFormat.ID_1)
]
KIND_NAMES = ["-".join(str(part) for part in kind if part) for kind in KINDS]


def requested(subject=SUBJECT, standard=USUAL, kind=KINDS[0], **changes):
    """A card of a kind, with all that a batch adds."""
    card_format, style, stage = kind
    return CardRequest(
        subject,
        standard,
        card_format,
        style,
        stage,
        **{"batch": 12, "printed_on": date(2025, 12, 5), "address": ADDRESS, **changes},
    )


# The standards that a card of one stage shows in different ways.
_STAGE_STANDARDS = {
    Stage.TOP: ("above the wire", "level with the wire", "no wire"),
    Stage.LIMBS: ("two to three limbs", "one limb or none", "no limb"),
    Stage.COLUMNS: (),
    Stage.HEADING: ("heading off", "heading forbidden"),
}
LOW_BLOOM = replace(SUBJECT, low_bloom=True)


@cache
def cards_of(kind):
    """
    Cards of a kind as all readers get them: (words, card) pairs.

    Short and long names for everybody; all kinds of standards in the longer units of each language.
    """
    readers = [ENGLISH, METRIC_ENGLISH, *(spanish_words(units) for units in Units)]
    others = _STAGE_STANDARDS.get(kind[2], tuple(name for name in STANDARDS if name != "usual"))
    wanted = [(words, subject, USUAL) for words in readers for subject in (SUBJECT, LONG_NAMES)]
    wanted += [
        (words, LOW_BLOOM, STANDARDS[name]) for words in (ENGLISH, readers[2]) for name in others
    ]
    return [
        (words, card_faces(requested(subject, standard, kind), words))
        for words, subject, standard in wanted
    ]
