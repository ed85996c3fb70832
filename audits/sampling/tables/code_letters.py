"""From the size of a lot to its code letter: Table I of MIL-STD-105E."""

from bisect import bisect_left
from typing import Final

from audits.errors import InvalidInput
from audits.messages import say
from audits.sampling.inputs import TypedNumber, is_count
from audits.sampling.tables.terms import InspectionLevel, chosen

# The letters I and O are not used.
CODE_LETTERS: Final = "ABCDEFGHJKLMNPQR"

SMALLEST_LOT: Final = 2

# The largest lot of each row of Table I; the last row has no end.
_LARGEST_LOTS: Final = (
    *(8, 15, 25, 50, 90, 150, 280, 500),
    *(1200, 3200, 10_000, 35_000, 150_000, 500_000),
)

# One letter for each row, downwards.
_LETTERS: Final = {
    InspectionLevel.SPECIAL_1: "AAAABBBBCCCCDDD",
    InspectionLevel.SPECIAL_2: "AAABBBCCCDDDEEE",
    InspectionLevel.SPECIAL_3: "AABBCCDDEEFFGGH",
    InspectionLevel.SPECIAL_4: "AABCCDEEFGGHJJK",
    InspectionLevel.GENERAL_1: "AABCCDEFGHJKLMN",
    InspectionLevel.GENERAL_2: "ABCDEFGHJKLMNPQ",
    InspectionLevel.GENERAL_3: "BCDEFGHJKLMNPQR",
}


def code_letter(lot_size: int, level: InspectionLevel | str = InspectionLevel.GENERAL_2) -> str:
    """
    Return the code letter of a lot.

    Parameters
    ----------
    lot_size : int
        Trees in the lot, at least 2 (symbol N).
    level : InspectionLevel or str, optional
        The inspection level, by default II.

    Returns
    -------
    str
        A letter from A to R, without I and O.

    Raises
    ------
    InvalidInput
        If the lot is too small for the tables or the level unknown.

    References
    ----------
    .. [1] MIL-STD-105E, 1989, Table I.

    Examples
    --------
    >>> code_letter(310), code_letter(310, "S-2")
    ('H', 'C')
    """
    letters = _LETTERS[chosen("level", InspectionLevel, level)]
    if not is_count(lot_size, SMALLEST_LOT):
        raise InvalidInput(
            {
                "lot_size": say(
                    "The tables hold for lots of %(least)s trees or more; this is %(value)s.",
                    least=SMALLEST_LOT,
                    value=TypedNumber(lot_size),
                )
            }
        )
    return letters[bisect_left(_LARGEST_LOTS, lot_size)]
