"""
Measuring plans from the tables of MIL-STD-414 and ANSI/ASQ Z1.9, standard deviation unknown.

An acceptable quality limit (AQL) of these tables is no acceptable fraction of ours: it indexes a
scheme with its own switching, and a lot exactly at it passes with a chance that changes from plan
to plan. `variables_acceptance_probability` says what a table's plan promises.
"""

from bisect import bisect_left
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from audits.errors import AuditError, InvalidInput
from audits.messages import Message, say
from audits.sampling.inputs import TypedNumber, is_count, too_small
from audits.sampling.variables.plans import VariablesPlan


class VariablesStandard(StrEnum):
    """The standards whose tables are known."""

    MIL_STD_414 = "MIL-STD-414"
    Z1_9 = "ANSI/ASQ Z1.9"


@dataclass(frozen=True)
class TableVariablesPlan:
    """
    A plan of a table.

    Parameters
    ----------
    code_letter : str
        The letter of the lot's size and level.
    plan : VariablesPlan
        The plan; of a later letter where the table has an arrow.
    """

    code_letter: str
    plan: VariablesPlan


@dataclass(frozen=True)
class _Table:
    """
    One standard's tables.

    Parameters
    ----------
    smallest_lot : int
        Smallest lot with a letter.
    largest_lots : tuple of int
        Largest lot of each row of the table of letters but the last, which has no end.
    letters : dict of str to str
        For each inspection level, the letters of these rows.
    default_level : str
        The level where nothing else is said.
    limits : tuple of float
        Acceptable quality limits of the columns, in per cent. Normal inspection has a column for
        each, tightened inspection takes the column before.
    first_column : int
        Columns that only tightened inspection uses.
    rows : tuple
        For each letter, the sample size and the figures; "-" stands for an arrow downwards.
    in_per_cent : bool
        Whether the figures are M in per cent instead of k.
    """

    smallest_lot: int
    largest_lots: tuple[int, ...]
    letters: dict[str, str]
    default_level: str
    limits: tuple[float, ...]
    first_column: int
    rows: tuple[tuple[str, int, str], ...]
    in_per_cent: bool


# Tables A-2 and B-1 (form 1, one limit). The k are those of R's package Planesmuestra, after
# Montgomery; with two limits M follows from k.
_MIL_STD_414: Final = _Table(
    smallest_lot=3,
    largest_lots=(
        *(8, 15, 25, 40, 65, 110, 180, 300, 500, 800, 1_300, 3_200),
        *(8_000, 22_000, 110_000, 550_000),
    ),
    letters={
        "I": "BBBBBBBBCDEFGHIII",
        "II": "BBBBBBCDEFGHIJKKK",
        "III": "BBBBCDEFGHIJLMNOP",
        "IV": "BBCDEFGHIJKLMNOPQ",
        "V": "CDEFGHIJKLLMNOPQQ",
    },
    default_level="IV",
    limits=(0.04, 0.065, 0.1, 0.15, 0.25, 0.4, 0.65, 1.0, 1.5, 2.5, 4.0, 6.5, 10.0, 15.0),
    first_column=0,
    rows=(
        ("B", 3, "- - - - - - - - - 1.12 0.958 0.765 0.566 0.341"),
        ("C", 4, "- - - - - - - 1.45 1.34 1.17 1.01 0.814 0.617 0.393"),
        ("D", 5, "- - - - - - 1.65 1.53 1.4 1.24 1.07 0.874 0.675 0.455"),
        ("E", 7, "- - - - 2 1.88 1.75 1.62 1.5 1.33 1.15 0.955 0.755 0.536"),
        ("F", 10, "- - - 2.24 2.11 1.98 1.84 1.72 1.58 1.41 1.23 1.03 0.828 0.611"),
        ("G", 15, "2.64 2.53 2.42 2.32 2.2 2.06 1.91 1.79 1.65 1.47 1.3 1.09 0.886 0.664"),
        ("H", 20, "2.69 2.58 2.47 2.36 2.24 2.11 1.96 1.82 1.69 1.51 1.33 1.12 0.917 0.695"),
        ("I", 25, "2.72 2.61 2.5 2.4 2.26 2.14 1.98 1.85 1.72 1.53 1.35 1.14 0.936 0.712"),
        ("J", 30, "2.73 2.61 2.51 2.41 2.28 2.15 2 1.86 1.73 1.55 1.36 1.15 0.946 0.723"),
        ("K", 35, "2.77 2.65 2.54 2.45 2.31 2.18 2.03 1.89 1.76 1.57 1.39 1.18 0.969 0.745"),
        ("L", 40, "2.77 2.66 2.55 2.44 2.31 2.18 2.03 1.89 1.76 1.58 1.39 1.18 0.971 0.746"),
        ("M", 50, "2.83 2.71 2.6 2.5 2.35 2.22 2.08 1.93 1.8 1.61 1.42 1.21 1 0.774"),
        ("N", 75, "2.9 2.77 2.66 2.55 2.41 2.27 2.12 1.98 1.84 1.65 1.46 1.24 1.03 0.804"),
        ("O", 100, "2.92 2.8 2.69 2.58 2.43 2.29 2.14 2 1.86 1.67 1.48 1.26 1.05 0.819"),
        ("P", 150, "2.96 2.84 2.73 2.61 2.47 2.33 2.18 2.03 1.89 1.7 1.51 1.29 1.07 0.841"),
        ("Q", 200, "2.97 2.85 2.73 2.62 2.47 2.33 2.18 2.04 1.89 1.7 1.51 1.29 1.07 0.845"),
    ),
    in_per_cent=False,
)

# Largest estimated per cent nonconforming, standard deviation method, after R's AQLSchemes: one
# source only. The first column serves tightened inspection at AQL 0.10.
_Z1_9: Final = _Table(
    smallest_lot=2,
    largest_lots=(
        *(8, 15, 25, 50, 90, 150, 280, 400, 500, 1_200, 3_200, 10_000),
        *(35_000, 150_000, 500_000),
    ),
    letters={
        "S-3": "BBBBBBBCCDEFGHHH",
        "S-4": "BBBBBCDEEFGHIJKK",
        "I": "BBBCDEFGGHIJKLMN",
        "II": "BBCDEFGHIJKLMNPP",
        "III": "CDEFGHIJJKLMNPPP",
    },
    default_level="II",
    limits=(0.1, 0.15, 0.25, 0.4, 0.65, 1.0, 1.5, 2.5, 4.0, 6.5, 10.0),
    first_column=1,
    rows=(
        ("B", 3, "- - - - - - - - 7.59 18.86 26.94 33.69"),
        ("C", 4, "- - - - - - 1.49 5.46 10.88 16.41 22.84 29.43"),
        ("D", 5, "- - - - 0.041 1.34 3.33 5.82 9.8 14.37 20.19 26.55"),
        ("E", 7, "- 0.005 0.087 0.421 1.05 2.13 3.54 5.34 8.4 12.19 17.34 23.3"),
        ("F", 10, "0.077 0.179 0.349 0.714 1.27 2.14 3.27 4.72 7.26 10.53 15.17 20.73"),
        ("G", 15, "0.186 0.311 0.491 0.839 1.33 2.09 3.06 4.32 6.55 9.48 13.74 18.97"),
        ("H", 20, "0.228 0.356 0.531 0.864 1.33 2.03 2.93 4.1 6.18 8.95 13.01 18.07"),
        ("I", 25, "0.25 0.378 0.551 0.874 1.32 2 2.86 3.97 5.98 8.65 12.6 17.55"),
        ("J", 35, "0.253 0.373 0.534 0.833 1.24 1.87 2.66 3.7 5.58 8.11 11.89 16.67"),
        ("K", 50, "0.243 0.355 0.503 0.778 1.16 1.73 2.47 3.44 5.21 7.61 11.23 15.87"),
        ("L", 75, "0.225 0.326 0.461 0.711 1.06 1.59 2.27 3.17 4.83 7.1 10.58 15.07"),
        ("M", 100, "0.218 0.315 0.444 0.684 1.02 1.52 2.18 3.06 4.67 6.88 10.29 14.71"),
        ("N", 150, "0.202 0.292 0.412 0.636 0.946 1.42 2.05 2.88 4.42 6.56 9.86 14.18"),
        ("P", 200, "0.204 0.294 0.414 0.637 0.945 1.42 2.04 2.86 4.39 6.52 9.8 14.11"),
    ),
    in_per_cent=True,
)

_TABLES: Final = {VariablesStandard.MIL_STD_414: _MIL_STD_414, VariablesStandard.Z1_9: _Z1_9}
_NORMAL, _TIGHTENED = "normal", "tightened"


def variables_table_plan(
    lot_size: int,
    acceptable_quality_limit: float,
    *,
    standard: VariablesStandard | str = VariablesStandard.MIL_STD_414,
    level: str | None = None,
    inspection: str = _NORMAL,
) -> TableVariablesPlan:
    """
    Look up the measuring plan of a standard.

    Parameters
    ----------
    lot_size : int
        Trees in the lot, at least 3, or 2 for ANSI/ASQ Z1.9.
    acceptable_quality_limit : float
        The column, in per cent nonconforming (symbol AQL).
    standard : VariablesStandard or str, optional
        The standard.
    level : str, optional
        The inspection level; by default IV of MIL-STD-414, II of ANSI/ASQ Z1.9.
    inspection : str, optional
        ``"normal"`` or ``"tightened"``.

    Returns
    -------
    TableVariablesPlan
        The code letter and the plan, arrows followed.

    Raises
    ------
    InvalidInput
        If the tables have no such standard, level, column, inspection or lot.
    AuditError
        If the plan's sample is larger than the lot.

    References
    ----------
    .. [1] MIL-STD-414, 1957, Tables A-2 and B-1.
    .. [2] ANSI/ASQ Z1.9-2003, Tables A-2, B-3 and B-4.

    Examples
    --------
    >>> looked_up = variables_table_plan(60, 1.0)
    >>> looked_up.code_letter, looked_up.plan
    ('E', VariablesPlan(sample_size=7, k=1.62, known_sigma=False))
    """
    table = _table(standard)
    level = table.default_level if level is None else level
    problems = _problems(table, lot_size, acceptable_quality_limit, level, inspection)
    if problems:
        raise InvalidInput(problems)
    column = table.limits.index(acceptable_quality_limit) + table.first_column
    if inspection == _TIGHTENED:
        column -= 1
    letter = table.letters[level][bisect_left(table.largest_lots, lot_size)]
    plan = _plan_in_column(table, letter, column)
    if plan.sample_size > lot_size:
        raise AuditError(_beyond_lot(plan, lot_size))
    return TableVariablesPlan(letter, plan)


def _plan_in_column(table: _Table, letter: str, column: int) -> VariablesPlan:
    """Return the first plan of a column from a letter downwards."""
    # The last row has no arrow.
    size, figure = next(
        (size, figures.split()[column])
        for row_letter, size, figures in table.rows
        if row_letter >= letter and figures.split()[column] != "-"
    )
    if table.in_per_cent:
        return VariablesPlan.with_largest_fraction(size, float(figure) / 100)
    return VariablesPlan(size, float(figure))


def _table(standard: VariablesStandard | str) -> _Table:
    try:
        return _TABLES[VariablesStandard(standard)]
    except ValueError:
        raise InvalidInput(
            {"standard": _unknown(str(standard), [str(known) for known in VariablesStandard])}
        ) from None


def _problems(
    table: _Table, lot_size: int, acceptable_quality_limit: float, level: str, inspection: str
) -> dict[str, Message]:
    problems = {}
    if not is_count(lot_size, table.smallest_lot):
        problems["lot_size"] = too_small(lot_size, table.smallest_lot)
    if level not in table.letters:
        problems["level"] = _unknown(level, list(table.letters))
    if inspection not in {_NORMAL, _TIGHTENED}:
        problems["inspection"] = _unknown(inspection, [_NORMAL, _TIGHTENED])
    if acceptable_quality_limit not in table.limits:
        problems["acceptable_quality_limit"] = _unknown(
            str(acceptable_quality_limit), [f"{limit:g}" for limit in table.limits]
        )
    elif (
        inspection == _TIGHTENED
        and table.limits.index(acceptable_quality_limit) + table.first_column == 0
    ):
        problems["acceptable_quality_limit"] = say(
            "The tables have no tightened plan at AQL %(limit)s; take a larger one.",
            limit=TypedNumber(acceptable_quality_limit),
        )
    return problems


def _unknown(value: str, known: list[str]) -> Message:
    return say(
        "The tables do not have %(value)s; choose one of %(known)s.",
        value=value,
        known=", ".join(known),
    )


def _beyond_lot(plan: VariablesPlan, lot_size: int) -> Message:
    return say(
        "The table's plan measures %(needed)s trees, and the lot has %(lot_size)s. Look at every "
        "tree, or take a larger acceptable quality limit.",
        needed=plan.sample_size,
        lot_size=lot_size,
    )
