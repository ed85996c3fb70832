"""The words of the standard tables as fixed sets, and how a choice outside them is refused."""

from collections.abc import Iterable
from enum import StrEnum
from typing import Final, TypeVar

from audits.errors import InvalidInput
from audits.messages import Message, mark, say
from audits.sampling.inputs import TypedNumber

_Term = TypeVar("_Term", bound=StrEnum)

# Per cent nonconforming up to 10, faults per hundred trees throughout (MIL-STD-105E, Tables II and
# III). The text of a column is its name, with the decimals that the tables print.
ACCEPTABLE_QUALITY_LIMITS: Final = (
    *("0.010", "0.015", "0.025", "0.040", "0.065", "0.10", "0.15", "0.25", "0.40", "0.65"),
    *("1.0", "1.5", "2.5", "4.0", "6.5", "10", "15", "25", "40", "65"),
    *("100", "150", "250", "400", "650", "1000"),
)

_COLUMNS: Final = {float(limit): column for column, limit in enumerate(ACCEPTABLE_QUALITY_LIMITS)}


class InspectionLevel(StrEnum):
    """How large a sample is for its lot: four special levels for few trees, three general ones."""

    SPECIAL_1 = "S-1"
    SPECIAL_2 = "S-2"
    SPECIAL_3 = "S-3"
    SPECIAL_4 = "S-4"
    GENERAL_1 = "I"
    GENERAL_2 = "II"
    GENERAL_3 = "III"


class Inspection(StrEnum):
    """How strictly the next lot is inspected, given the lots before it."""

    NORMAL = "normal"
    TIGHTENED = "tightened"
    REDUCED = "reduced"
    DISCONTINUED = "discontinued"


class PlanKind(StrEnum):
    """How many samples a plan of the tables may take."""

    SINGLE = "single"
    DOUBLE = "double"


INSPECTION_NAMES: Final = {
    Inspection.NORMAL: mark("normal inspection"),
    Inspection.TIGHTENED: mark("tightened inspection"),
    Inspection.REDUCED: mark("reduced inspection"),
    Inspection.DISCONTINUED: mark("inspection discontinued"),
}


def limit_column(acceptable_quality_limit: float | str) -> int:
    """
    Return the column of the tables for an acceptable quality limit.

    Parameters
    ----------
    acceptable_quality_limit : float or str
        The limit as a number or as it is printed; 1, 1.0 and ``"1.0"`` mean the same column.

    Returns
    -------
    int
        Place in `ACCEPTABLE_QUALITY_LIMITS`, from 0.

    Raises
    ------
    InvalidInput
        If the tables have no such column; the sentence lists those they have.

    Examples
    --------
    >>> limit_column("0.010"), limit_column(0.01), limit_column(1)
    (0, 0, 10)
    """
    try:
        column = _COLUMNS[float(acceptable_quality_limit)]
    except (KeyError, TypeError, ValueError):
        column = None
    if column is None or isinstance(acceptable_quality_limit, bool):
        raise InvalidInput(
            {
                "acceptable_quality_limit": say(
                    "The tables have no acceptable quality limit of %(value)s; they have "
                    "%(choices)s.",
                    value=_as_typed(acceptable_quality_limit),
                    choices=", ".join(ACCEPTABLE_QUALITY_LIMITS),
                )
            }
        )
    return column


def chosen(field: str, terms: type[_Term], value: str, among: Iterable[_Term] = ()) -> _Term:
    """
    Return the term that a text stands for.

    Parameters
    ----------
    field : str
        Name of the field, for the person who chose.
    terms : type of StrEnum
        The set of terms.
    value : str
        What was chosen.
    among : iterable of StrEnum, optional
        The terms allowed here; all by default.

    Returns
    -------
    StrEnum
        The term.

    Raises
    ------
    InvalidInput
        If the value is none of the terms; the sentence lists them.
    """
    allowed = tuple(among) or tuple(terms)
    if value not in allowed:
        raise InvalidInput({field: not_a_choice(value, allowed)})
    return terms(value)


def not_a_choice(value: object, choices: Iterable[str]) -> Message:
    """
    Say that a value is none of the choices.

    Parameters
    ----------
    value : object
        The value refused.
    choices : iterable of str
        What can be chosen.

    Returns
    -------
    Message
        The sentence for the field.
    """
    return say(
        "This must be one of %(choices)s; it is %(value)s.",
        choices=", ".join(choices),
        value=_as_typed(value),
    )


def _as_typed(value: object) -> object:
    if isinstance(value, int | float) and not isinstance(value, bool):
        return TypedNumber(value)
    return str(value)
