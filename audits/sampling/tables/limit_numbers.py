"""Table VIII of MIL-STD-105E: how few nonconforming trees ten lots must have for reduced plans."""

from bisect import bisect_right
from enum import StrEnum
from typing import Final

from audits.sampling.inputs import require_count
from audits.sampling.tables.terms import limit_column


class NoLimit(StrEnum):
    """Why Table VIII gives no limit number."""

    TOO_FEW_TREES = "too_few_trees"
    NOT_GIVEN = "not_given"


# The smallest number of trees of each row.
_FEWEST_TREES: Final = (
    *(20, 30, 50, 80, 130, 200, 320, 500, 800),
    *(1250, 2000, 3150, 5000, 8000, 12_500, 20_000, 31_500, 50_000),
)

# The first row's first number stands in the column of 15, and each later row begins one column
# earlier; the last would begin before the first column, so that its 0 is gone. Left of the numbers
# are too few trees, right of them no plan takes so many. The rows nearly repeat at ten times the
# trees and a tenth of the limit, but not throughout.
_FIRST_COLUMN: Final = 16
_LIMITS: Final = tuple(
    tuple(int(number) for number in row.split())
    for row in (
        "0 2 4 8 14 22 40 68 115 181",
        "0 1 3 7 13 22 36 63 105 178 277",
        "0 2 3 7 14 25 40 63 110 181 301",
        "0 2 4 7 14 24 42 68 105 181 297",
        "0 2 4 7 13 25 42 72 115 177 301 490",
        "0 2 4 8 14 22 40 68 115 181 277 471",
        "0 1 4 8 14 24 39 68 113 189",
        "0 2 3 7 14 25 40 63 110 181",
        "0 2 4 7 14 24 42 68 105 181",
        "0 2 4 7 13 24 40 69 110 169",
        "0 2 4 8 14 22 40 68 115 181",
        "0 1 4 8 14 24 38 67 111 186",
        "0 2 3 7 14 25 40 63 110 181",
        "0 2 4 7 14 24 42 68 105 181",
        "0 2 4 7 13 24 40 69 110 169",
        "0 2 4 8 14 22 40 68 115 181",
        "0 1 4 8 14 24 38 67 111 186",
        "0 2 3 7 14 25 40 63 110 181 301",
    )
)


def limit_number(trees: int, acceptable_quality_limit: float | str) -> int | NoLimit:
    """
    Return the most nonconforming trees with which reduced inspection may begin.

    Parameters
    ----------
    trees : int
        Trees in all samples of the last ten lots, or of more where ten have too few.
    acceptable_quality_limit : float or str
        The limit in use (symbol AQL), 0.010 to 1000 as printed.

    Returns
    -------
    int or NoLimit
        The limit number; `NoLimit.TOO_FEW_TREES` where more lots must be waited for,
        `NoLimit.NOT_GIVEN` where the table has no entry.

    Raises
    ------
    InvalidInput
        If the trees are no whole number, or the tables have no such limit.

    References
    ----------
    .. [1] MIL-STD-105E, 1989, Table VIII; from memory, the columns from 0.40 on compared with
       those of ANSI/ASQ Z1.4-2003. The last two rows rest on memory alone.

    Examples
    --------
    >>> limit_number(800, 1.0), limit_number(200, 0.65)
    (4, <NoLimit.TOO_FEW_TREES: 'too_few_trees'>)
    """
    require_count("trees", trees, 0)
    column = limit_column(acceptable_quality_limit)
    row = bisect_right(_FEWEST_TREES, trees) - 1
    if row < 0:
        return NoLimit.TOO_FEW_TREES
    place = column - _FIRST_COLUMN + row
    if place < 0:
        return NoLimit.TOO_FEW_TREES
    limits = _LIMITS[row]
    return limits[place] if place < len(limits) else NoLimit.NOT_GIVEN
