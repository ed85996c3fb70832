"""Lengths: kept in millimetres, read and written in the units of the farm."""

import math
import re
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction
from typing import Final

from babel.numbers import format_decimal

from audits.errors import AuditError
from audits.messages import Message, Units, Words, mark, say

# The inch is 25.4 mm by definition (international yard and pound agreement, 1959).
MM_PER_INCH: Final = Fraction("25.4")
MM_PER_FOOT: Final = 12 * MM_PER_INCH

# Nothing measured on a tree or between rows is longer; a wrong unit usually is.
LONGEST_MM: Final = 20_000.0

_RESOLUTION_DECIMALS: Final = 2
_INCHES_PER_FOOT: Final = 12
_READ_IN_FEET_FROM: Final = 36
_STEPS_PER_INCH: Final = 16
_MM_PER_CM: Final = 10
_MM_PER_M: Final = 1000
_CM_PER_M: Final = 100
_WHOLE_MM_FROM: Final = 10
_DECIMALS_THAT_LOOK_LIKE_THOUSANDS: Final = 3
_LONGEST_TEXT: Final = 40


class LengthKind(StrEnum):
    """What a length measures; it decides how finely people read it."""

    HEIGHT = "height"
    DIAMETER = "diameter"


class LengthUnit(StrEnum):
    """A unit that people write lengths in."""

    FOOT = "ft"
    INCH = "in"
    METRE = "m"
    CENTIMETRE = "cm"
    MILLIMETRE = "mm"


MM_PER_UNIT: Final = {
    LengthUnit.FOOT: MM_PER_FOOT,
    LengthUnit.INCH: MM_PER_INCH,
    LengthUnit.METRE: Fraction(_MM_PER_M),
    LengthUnit.CENTIMETRE: Fraction(_MM_PER_CM),
    LengthUnit.MILLIMETRE: Fraction(1),
}


class LengthError(AuditError):
    """A text that cannot be taken as a length; the message says how to write one."""


@dataclass(frozen=True)
class Length:
    """
    A length that people read in the units of their farm.

    Parameters
    ----------
    mm : float
        The length in millimetres; below zero for a distance downwards.
    kind : LengthKind, optional
        Heights, spacings and tolerances read to the inch, in feet from 3 ft up, or to the
        centimetre (below an inch to 1/16 in, below 10 cm to the millimetre); diameters read to
        1/16 in or to the millimetre (below 10 mm to a tenth).

    Raises
    ------
    ValueError
        If `mm` is not finite.

    Examples
    --------
    >>> from audits.messages import ENGLISH
    >>> ENGLISH.show(Length(3017.52))
    '9 ft 11 in'
    >>> ENGLISH.show(Length(19.05, LengthKind.DIAMETER))
    '3/4 in'
    """

    mm: float
    kind: LengthKind = LengthKind.HEIGHT

    def __post_init__(self) -> None:
        if not math.isfinite(self.mm):
            raise ValueError(f"mm must be finite, not {self.mm}")

    def in_words(self, words: Words) -> str:
        """
        Write the length for one reader.

        Parameters
        ----------
        words : Words
            The reader's language, region and units.

        Returns
        -------
        str
            Such as ``"9 ft 11 in"`` or ``"3.02 m"``.
        """
        size = abs(self.mm)
        if words.units is Units.METRIC:
            text = words.say(_metric(size, self.kind, words.locale))
        else:
            text = words.say(_imperial(size, self.kind))
        return f"-{text}" if self.mm < 0 and any(digit in "123456789" for digit in text) else text


def _metric(mm: float, kind: LengthKind, locale: str) -> Message:
    if kind is LengthKind.DIAMETER:
        pattern = "0" if mm >= _WHOLE_MM_FROM else "0.#"
        return say("%(number)s mm", number=format_decimal(mm, pattern, locale=locale))
    if round(mm / _MM_PER_CM) >= _CM_PER_M:
        return say("%(number)s m", number=format_decimal(mm / _MM_PER_M, "0.00", locale=locale))
    pattern = "0" if mm >= _WHOLE_MM_FROM * _MM_PER_CM else "0.#"
    return say("%(number)s cm", number=format_decimal(mm / _MM_PER_CM, pattern, locale=locale))


def _imperial(mm: float, kind: LengthKind) -> Message:
    if kind is LengthKind.DIAMETER or mm < MM_PER_INCH:
        steps = round(mm / float(MM_PER_INCH) * _STEPS_PER_INCH)
        return say("%(number)s in", number=_mixed(steps))
    inches = round(mm / float(MM_PER_INCH))
    if inches < _READ_IN_FEET_FROM:
        return say("%(number)s in", number=str(inches))
    feet, rest = divmod(inches, _INCHES_PER_FOOT)
    return _feet_and_inches(feet, str(rest) if rest else "")


def _feet_and_inches(feet: int, inches: str) -> Message:
    if feet and inches:
        return say("%(feet)s ft %(inches)s in", feet=str(feet), inches=inches)
    if feet:
        return say("%(number)s ft", number=str(feet))
    return say("%(number)s in", number=inches or "0")


def _mixed(steps: int) -> str:
    """Write sixteenths of an inch the way a tape is read: ``1 1/2``."""
    whole, rest = divmod(steps, _STEPS_PER_INCH)
    if not rest:
        return str(whole)
    part = Fraction(rest, _STEPS_PER_INCH)
    return f"{whole} {part}" if whole else str(part)


_UNIT_WORDS: Final = {
    LengthUnit.FOOT: ("ft", "ft.", "foot", "feet", "'", "pie", "pies"),
    LengthUnit.INCH: (
        "in",
        "in.",
        "inch",
        "inches",
        '"',
        "''",
        "pulg",
        "pulg.",
        "pulgada",
        "pulgadas",
    ),
    LengthUnit.METRE: ("m", "meter", "meters", "metre", "metres", "metro", "metros"),
    LengthUnit.CENTIMETRE: (
        "cm",
        "centimeter",
        "centimeters",
        "centimetre",
        "centimetres",
        "cent\u00edmetro",
        "cent\u00edmetros",
        "centimetro",
        "centimetros",
    ),
    LengthUnit.MILLIMETRE: (
        "mm",
        "millimeter",
        "millimeters",
        "millimetre",
        "millimetres",
        "mil\u00edmetro",
        "mil\u00edmetros",
        "milimetro",
        "milimetros",
    ),
}
_UNIT_OF_WORD: Final = {word: unit for unit, words in _UNIT_WORDS.items() for word in words}

# Prime, double prime, curly quotes and the accents that phones put in their place.
_QUOTES: Final = str.maketrans(
    {
        "\u2032": "'",
        "\u2018": "'",
        "\u2019": "'",
        "\u00b4": "'",
        "\u2033": '"',
        "\u201c": '"',
        "\u201d": '"',
        "\u2044": "/",
        "\u00bc": " 1/4",
        "\u00bd": " 1/2",
        "\u00be": " 3/4",
        "\u215b": " 1/8",
        "\u215c": " 3/8",
        "\u215d": " 5/8",
        "\u215e": " 7/8",
    }
)

_NUMBER: Final = (
    r"(?:(?:(?P<{0}whole>[0-9]{{1,6}})\s+)?(?P<{0}part>[0-9]{{1,2}}/(?:2|4|8|16|32|64))"
    r"|(?P<{0}decimal>[0-9]{{1,6}}(?:[.,][0-9]{{1,6}})?|[.,][0-9]{{1,6}}))"
)
_ONE_UNIT: Final = re.compile(_NUMBER.format("") + r"\s*(?P<unit>[^\W\d_]+\.?|'{1,2}|\")?")
_TWO_UNITS: Final = re.compile(
    r"(?P<feet>[0-9]{1,6})\s*(?P<foot_word>[^\W\d_]+\.?|')\s*"
    + _NUMBER.format("")
    + r"\s*(?P<inch_word>[^\W\d_]+\.?|''|\")"
)

_HOW_TO_WRITE: Final = {
    (Units.IMPERIAL, LengthKind.HEIGHT): mark(
        'Cannot read "%(text)s" as a length. Write it like 9 ft 11 in, 6 in or 9.9 ft.'
    ),
    (Units.IMPERIAL, LengthKind.DIAMETER): mark(
        'Cannot read "%(text)s" as a diameter. Write it like 3/4 in or 19 mm.'
    ),
    (Units.METRIC, LengthKind.HEIGHT): mark(
        'Cannot read "%(text)s" as a length. Write it like 3.02 m or 15 cm.'
    ),
    (Units.METRIC, LengthKind.DIAMETER): mark(
        'Cannot read "%(text)s" as a diameter. Write it like 19 mm.'
    ),
}


def kept_length(mm: float) -> float:
    """
    Return a length as it is kept.

    Sums and differences of kept lengths miss the number that people see by a few binary digits;
    whoever compares them with a limit must not.

    Parameters
    ----------
    mm : float
        A length in mm.

    Returns
    -------
    float
        The length in mm, rounded to 0.01.

    Examples
    --------
    >>> 4013.2 + 152.4, kept_length(4013.2 + 152.4)
    (4165.599999999999, 4165.6)
    """
    return round(mm, _RESOLUTION_DECIMALS)


def parse_length(
    text: str,
    units: Units,
    *,
    kind: LengthKind = LengthKind.HEIGHT,
    bare_unit: LengthUnit | None = None,
    zero_allowed: bool = False,
    longest_mm: float = LONGEST_MM,
) -> float:
    """
    Read a length that a person wrote.

    Feet and inches (``9'11"``, ``9 ft 11 1/2 in``, ``9.9 ft``), fractions of an inch down to
    1/64, metres, centimetres and millimetres are read whatever units the farm uses, with a decimal
    point or comma, in English or Spanish. A number without a unit is read only if `bare_unit`
    says what it means. Three digits after a point or comma of centimetres or millimetres are
    refused, because ``1,234 mm`` may mean two things.

    Parameters
    ----------
    text : str
        What the person wrote.
    units : Units
        Units of the farm; they choose the example in the error's sentence.
    kind : LengthKind, optional
        What is measured; it chooses the example too.
    bare_unit : LengthUnit or None, optional
        Unit of a number written without one; such numbers are refused if None.
    zero_allowed : bool, optional
        Whether a length of zero is taken.
    longest_mm : float, optional
        Longest length that is taken, in mm.

    Returns
    -------
    float
        The length in mm, rounded to 0.01.

    Raises
    ------
    LengthError
        If the text is no length, zero where that is not allowed, or too long; its message names
        the text and shows how to write a length.

    Examples
    --------
    >>> parse_length("9 ft 11 in", Units.IMPERIAL)
    3022.6
    >>> parse_length("3,35 m", Units.METRIC)
    3350.0
    """
    shown = text.strip()
    if len(shown) > _LONGEST_TEXT:
        shown = shown[:_LONGEST_TEXT] + "\u2026"
    cleaned = text.translate(_QUOTES).strip().casefold()
    if not shown:
        raise LengthError(say("Fill in this length."))
    exact = _read(cleaned, bare_unit) if len(cleaned) <= _LONGEST_TEXT else None
    if exact is None:
        raise LengthError(say(_HOW_TO_WRITE[units, kind], text=shown))
    if exact.ambiguous:
        raise LengthError(
            say(
                '"%(text)s" can be read in two ways. Write it without a thousands mark.', text=shown
            )
        )
    mm = round(float(exact.mm), _RESOLUTION_DECIMALS)
    if mm == 0 and not zero_allowed:
        raise LengthError(say('"%(text)s" is too short: it must be more than zero.', text=shown))
    if mm > longest_mm:
        raise LengthError(
            say(
                '"%(text)s" is too long: at most %(longest)s.',
                text=shown,
                longest=Length(longest_mm, kind),
            )
        )
    return mm


@dataclass(frozen=True)
class _Reading:
    mm: Fraction
    ambiguous: bool = False


def _read(cleaned: str, bare_unit: LengthUnit | None) -> _Reading | None:
    if two := _TWO_UNITS.fullmatch(cleaned):
        return _read_feet_and_inches(two)
    one = _ONE_UNIT.fullmatch(cleaned)
    if one is None:
        return None
    unit = _UNIT_OF_WORD.get(one["unit"]) if one["unit"] else bare_unit
    number = _value(one)
    if unit is None or number is None:
        return None
    imperial = unit in {LengthUnit.FOOT, LengthUnit.INCH}
    if one["part"] and not imperial:
        return None
    decimals = re.split("[.,]", one["decimal"] or "")[1:]
    ambiguous = (
        unit in {LengthUnit.CENTIMETRE, LengthUnit.MILLIMETRE}
        and bool(decimals)
        and len(decimals[0]) == _DECIMALS_THAT_LOOK_LIKE_THOUSANDS
    )
    return _Reading(number * MM_PER_UNIT[unit], ambiguous)


def _read_feet_and_inches(match: re.Match[str]) -> _Reading | None:
    inches = _value(match)
    if (
        _UNIT_OF_WORD.get(match["foot_word"]) is not LengthUnit.FOOT
        or _UNIT_OF_WORD.get(match["inch_word"]) is not LengthUnit.INCH
        or inches is None
        or inches >= _INCHES_PER_FOOT
    ):
        return None
    return _Reading(int(match["feet"]) * MM_PER_FOOT + inches * MM_PER_INCH)


def _value(match: re.Match[str]) -> Fraction | None:
    if match["decimal"]:
        return Fraction(match["decimal"].replace(",", "."))
    part = Fraction(match["part"])
    return part + int(match["whole"] or 0) if part < 1 else None


def write_length(
    mm: float,
    units: Units,
    *,
    kind: LengthKind = LengthKind.HEIGHT,
    locale: str = "en_US",
) -> str:
    """
    Write a length for a form field, so that it reads back unchanged.

    Unlike `Length`, which rounds for reading, this keeps every hundredth of a millimetre: saving
    a form that nobody touched changes nothing.

    Parameters
    ----------
    mm : float
        The length in mm, not below zero.
    units : Units
        Units of the farm.
    kind : LengthKind, optional
        What is measured.
    locale : str, optional
        Locale of the decimal mark, such as ``"es"``.

    Returns
    -------
    str
        Text for which `parse_length` returns `mm`, rounded to 0.01.

    Raises
    ------
    ValueError
        If `mm` is below zero or not finite.

    Examples
    --------
    >>> write_length(3022.6, Units.IMPERIAL)
    '9 ft 11 in'
    >>> write_length(3017.52, Units.IMPERIAL)
    '9.9 ft'
    """
    if not math.isfinite(mm) or mm < 0:
        raise ValueError(f"mm must be a finite length of at least 0, not {mm}")
    mm = round(mm, _RESOLUTION_DECIMALS)
    if units is Units.METRIC:
        return _write_metric(mm, kind, locale)
    return _write_imperial(mm, kind, locale)


def _write_metric(mm: float, kind: LengthKind, locale: str) -> str:
    if kind is LengthKind.DIAMETER:
        return _write_number(mm, 2, LengthUnit.MILLIMETRE, locale)
    if mm >= _MM_PER_M:
        return _write_number(mm, 5, LengthUnit.METRE, locale)
    # Three decimals of a centimetre would look like a thousands mark.
    if round(mm, 1) == mm:
        return _write_number(mm, 2, LengthUnit.CENTIMETRE, locale)
    return _write_number(mm, 2, LengthUnit.MILLIMETRE, locale)


def _write_imperial(mm: float, kind: LengthKind, locale: str) -> str:
    steps = round(mm / float(MM_PER_INCH) * _STEPS_PER_INCH)
    if _same(Fraction(steps, _STEPS_PER_INCH) * MM_PER_INCH, mm):
        if kind is LengthKind.DIAMETER:
            return f"{_mixed(steps)} in"
        feet, rest = divmod(steps, _INCHES_PER_FOOT * _STEPS_PER_INCH)
        return str(_feet_and_inches(feet, _mixed(rest) if rest else ""))
    hundredths_ft = round(mm / float(MM_PER_FOOT) * 100)
    if kind is LengthKind.HEIGHT and _same(Fraction(hundredths_ft, 100) * MM_PER_FOOT, mm):
        return _write_number(mm, 2, LengthUnit.FOOT, locale)
    return _write_number(mm, 4, LengthUnit.INCH, locale)


def _same(exact_mm: Fraction, mm: float) -> bool:
    return round(float(exact_mm), _RESOLUTION_DECIMALS) == mm


def _write_number(mm: float, decimals: int, unit: LengthUnit, locale: str) -> str:
    number = float(Fraction(mm) / MM_PER_UNIT[unit])
    return f"{format_decimal(number, '0.' + '#' * decimals, locale=locale)} {unit}"
