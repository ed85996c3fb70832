"""
Tables II and III of MIL-STD-105E, cell by cell.

Both the sample sizes and the acceptable quality limits rise in steps of about the fifth root of
ten, so that sample times limit, and with it the right acceptance number, is nearly the same along
every diagonal of a table. That is how the tables are kept here: one run of numbers along a column,
shifted by a row from each column to the next, and the few cells that depart from it.
"""

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from audits.errors import InvalidInput
from audits.sampling.plans import DoublePlan, SinglePlan
from audits.sampling.tables.code_letters import CODE_LETTERS
from audits.sampling.tables.terms import (
    ACCEPTABLE_QUALITY_LIMITS,
    Inspection,
    PlanKind,
    chosen,
    limit_column,
    not_a_choice,
)


class Pointer(StrEnum):
    """What a cell says instead of giving a plan."""

    DOWN = "down"
    UP = "up"
    SINGLE = "single"
    EMPTY = "empty"


@dataclass(frozen=True)
class _Table:
    """
    One table.

    Parameters
    ----------
    start : int
        The diagonal, row plus column, on which the run begins; above it every arrow is down.
    run : str
        What stands along a column from there on: "^" and "v" are arrows, "=" means the single
        plan; a plan is Ac/Re, or Ac1/Re1,Ac2/Re2. Below the run every arrow is up.
    few : str
        The run's last numbers, which only the smallest samples have.
    size_shift : int
        Rows by which the sample sizes lag behind those of the single normal table.
    own_runs : dict of str to str
        Rows with numbers of their own, from the same diagonal on.
    """

    start: int
    run: str
    few: str
    size_shift: int
    own_runs: dict[str, str]


# Sample sizes of the letters A to R, and of S, which only tightened inspection leads to.
_SIZES: Final = (
    *(2, 3, 5, 8, 13, 20, 32, 50, 80, 125, 200, 315, 500, 800, 1250, 2000),
    3150,
)
_BEYOND: Final = "S"
_ROWS: Final = CODE_LETTERS + _BEYOND
# The last letter with the numbers in `few`; later samples are large enough without them.
_LAST_WITH_FEW: Final = "E"
_POINTERS: Final = {"v": Pointer.DOWN, "^": Pointer.UP, "=": Pointer.SINGLE}
_STEPS: Final = {Pointer.DOWN: 1, Pointer.UP: -1}

_NORMAL_RUN: Final = "0/1 ^ v 1/2 2/3 3/4 5/6 7/8 10/11 14/15 21/22"
_NORMAL_FEW: Final = "30/31 44/45"
# Cells that depart from the run in every table, by letter and limit: nothing stands above the
# first row, or below the last one, for an arrow to point to.
_DEPARTURES: Final = {("A", "10"): "v", ("R", "0.015"): "^"}
_ALL_SINGLE: Final = "= ^ v = = = = = = = = = ="

_TABLES: Final = {
    (PlanKind.SINGLE, Inspection.NORMAL): _Table(
        14, _NORMAL_RUN, _NORMAL_FEW, size_shift=0, own_runs={}
    ),
    (PlanKind.SINGLE, Inspection.TIGHTENED): _Table(
        15,
        "0/1 v v 1/2 2/3 3/4 5/6 8/9 12/13 18/19",
        "27/28 41/42",
        size_shift=0,
        own_runs={},
    ),
    (PlanKind.SINGLE, Inspection.REDUCED): _Table(
        14,
        "0/1 ^ v 0/2 1/3 1/4 2/5 3/6 5/8 7/10 10/13",
        "14/17 21/24",
        size_shift=2,
        own_runs={
            "A": f"{_NORMAL_RUN} {_NORMAL_FEW}",
            "B": "0/1 ^ v 0/2 1/3 2/4 3/5 5/6 7/8 10/11 14/15 21/22 30/31",
        },
    ),
    (PlanKind.DOUBLE, Inspection.NORMAL): _Table(
        14,
        "= ^ v 0/2,1/2 0/3,3/4 1/4,4/5 2/5,6/7 3/7,8/9 5/9,12/13 7/11,18/19 11/16,26/27",
        "17/22,37/38 25/31,56/57",
        size_shift=1,
        own_runs={"A": _ALL_SINGLE},
    ),
    (PlanKind.DOUBLE, Inspection.TIGHTENED): _Table(
        15,
        "= v v 0/2,1/2 0/3,3/4 1/4,4/5 2/5,6/7 3/7,11/12 6/10,15/16 9/14,23/24",
        "15/20,34/35 23/29,52/53",
        size_shift=1,
        own_runs={"A": "= v v = = = = = = = = ="},
    ),
    (PlanKind.DOUBLE, Inspection.REDUCED): _Table(
        14,
        "= ^ v 0/2,0/2 0/3,0/4 0/4,1/5 0/4,3/6 1/5,4/7 2/7,6/9 3/8,8/12 5/10,12/16",
        "7/12,18/22 11/17,26/30",
        size_shift=3,
        own_runs=dict.fromkeys("ABC", _ALL_SINGLE),
    ),
}

_STRICTNESSES: Final = (Inspection.NORMAL, Inspection.TIGHTENED, Inspection.REDUCED)

# The one plan of the row beyond the last: it ends a column whose arrows would lead nowhere.
_BEYOND_COLUMN: Final = "0.025"


def table_cell(
    letter: str,
    acceptable_quality_limit: float | str,
    *,
    inspection: Inspection | str = Inspection.NORMAL,
    kind: PlanKind | str = PlanKind.SINGLE,
) -> SinglePlan | DoublePlan | Pointer:
    """
    Return what a table prints for a letter and a limit, arrows not followed.

    Parameters
    ----------
    letter : str
        A code letter; on tightened inspection also S, where two arrows lead.
    acceptable_quality_limit : float or str
        The limit of the column (symbol AQL), 0.010 to 1000 as printed.
    inspection : Inspection or str, optional
        Normal (the default), tightened or reduced.
    kind : PlanKind or str, optional
        Single (the default) or double sampling.

    Returns
    -------
    SinglePlan or DoublePlan or Pointer
        The plan, or what the cell points to; all cells of S but one are empty.

    Raises
    ------
    InvalidInput
        If the tables have no such letter, limit, inspection or kind.

    References
    ----------
    .. [1] MIL-STD-105E, 1989, Tables II-A to II-C and III-A to III-C.

    Examples
    --------
    >>> table_cell("K", 0.65)
    SinglePlan(sample_size=125, acceptance_number=2, rejection_number=3)
    >>> table_cell("G", "0.65")
    <Pointer.UP: 'up'>
    """
    column = limit_column(acceptable_quality_limit)
    strictness = chosen("inspection", Inspection, inspection, _STRICTNESSES)
    letters = _ROWS if strictness is Inspection.TIGHTENED else CODE_LETTERS
    if letter not in tuple(letters):
        raise InvalidInput({"letter": not_a_choice(letter, letters)})
    if letter == _BEYOND and ACCEPTABLE_QUALITY_LIMITS[column] != _BEYOND_COLUMN:
        return Pointer.EMPTY
    table = _TABLES[chosen("kind", PlanKind, kind), strictness]
    text = _text(table, letter, column)
    return _POINTERS.get(text) or _plan(
        text, _SIZES[max(0, _ROWS.index(letter) - table.size_shift)]
    )


def resolved_cell(
    letter: str,
    acceptable_quality_limit: float | str,
    *,
    inspection: Inspection | str = Inspection.NORMAL,
    kind: PlanKind | str = PlanKind.SINGLE,
) -> tuple[str, SinglePlan | DoublePlan]:
    """
    Return the plan that a cell leads to, every arrow followed.

    Parameters
    ----------
    letter : str
        The lot's code letter, A to R.
    acceptable_quality_limit : float or str
        The limit of the column (symbol AQL), 0.010 to 1000 as printed.
    inspection : Inspection or str, optional
        Normal (the default), tightened or reduced.
    kind : PlanKind or str, optional
        Single (the default) or double sampling.

    Returns
    -------
    letter : str
        The letter of the row reached; its sample size holds, not that of the first row.
    plan : SinglePlan or DoublePlan
        The plan there; a single one where a double table says to use the single plan.

    Raises
    ------
    InvalidInput
        If the tables have no such letter, limit, inspection or kind.

    References
    ----------
    .. [1] MIL-STD-105E, 1989, 4.9.3 and Tables II-A to II-C and III-A to III-C.

    Examples
    --------
    >>> resolved_cell("G", "0.65")
    ('F', SinglePlan(sample_size=20, acceptance_number=0, rejection_number=1))
    """
    if letter not in tuple(CODE_LETTERS):
        raise InvalidInput({"letter": not_a_choice(letter, CODE_LETTERS)})
    while True:
        cell = table_cell(letter, acceptable_quality_limit, inspection=inspection, kind=kind)
        if not isinstance(cell, Pointer):
            return letter, cell
        if cell is Pointer.SINGLE:
            kind = PlanKind.SINGLE
        else:
            letter = _ROWS[_ROWS.index(letter) + _STEPS[cell]]


def _text(table: _Table, letter: str, column: int) -> str:
    departure = _DEPARTURES.get((letter, ACCEPTABLE_QUALITY_LIMITS[column]))
    if departure is not None:
        return departure
    run = table.own_runs.get(letter)
    if run is None:
        run = f"{table.run} {table.few}" if letter <= _LAST_WITH_FEW else table.run
    numbers = run.split()
    place = _ROWS.index(letter) + column - table.start
    if place < 0:
        return "v"
    return numbers[place] if place < len(numbers) else "^"


def _plan(text: str, size: int) -> SinglePlan | DoublePlan:
    accepted, rejected, *second = (int(number) for number in text.replace(",", "/").split("/"))
    if not second:
        return SinglePlan(size, accepted, rejected)
    return DoublePlan(size, accepted, rejected, size, *second)
