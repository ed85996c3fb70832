"""The code of a page from its sampled cells: ISO/IEC 18004, one version, one level, one mask."""

from collections.abc import Iterator, Sequence
from functools import cache
from typing import Final

from printables.paper_code import ALPHANUMERIC, CODE_CELLS

# Version 3 at level M is one block (table 9).
CODEWORDS: Final = 70
DATA_CODEWORDS: Final = 44
# Alphanumeric mode: its sign and the bits of its count in versions 1 to 9 (tables 2 and 3).
_MODE: Final = 0b0010
_MODE_BITS: Final = 4
_COUNT_BITS: Final = 9
_PAIR_BITS: Final = 11
_SINGLE_BITS: Final = 6
# The field of 256 elements (7.5.2): x^8 + x^4 + x^3 + x^2 + 1.
_FIELD: Final = 0x11D
_ORDER: Final = 255
# Row and column of the timing pattern; middle and reach of the one alignment pattern (annex E).
_TIMING: Final = 6
_ALIGNMENT: Final = 22
_ALIGNMENT_REACH: Final = 2


def code_text(cells: Sequence[Sequence[bool]]) -> str | None:
    """
    Read what a code says.

    Parameters
    ----------
    cells : sequence of sequence of bool
        Rows from top to bottom; true where a cell is dark.

    Returns
    -------
    str or None
        Its text; None if too many cells are wrong.
    """
    bits = [cells[row][column] ^ _is_masked(column) for row, column in _data_cells()]
    received = [_number(bits[8 * place : 8 * place + 8]) for place in range(CODEWORDS)]
    corrected = corrected_codewords(received, CODEWORDS - DATA_CODEWORDS)
    return None if corrected is None else _letters(corrected[:DATA_CODEWORDS])


def is_function_cell(row: int, column: int) -> bool:
    """
    Tell whether a cell is the same in every code: finders, timing, alignment, format.

    Parameters
    ----------
    row, column : int
        The cell, from 0.

    Returns
    -------
    bool
        Whether it holds no data.
    """
    near, far = 8, CODE_CELLS - 8
    in_corner = (
        (row <= near and column <= near)
        or (row <= near and column >= far)
        or (row >= far and column <= near)
    )
    is_timing = _TIMING in (row, column)
    from_middle = max(abs(row - _ALIGNMENT), abs(column - _ALIGNMENT))
    is_alignment = from_middle <= _ALIGNMENT_REACH
    return in_corner or is_timing or is_alignment


@cache
def _data_cells() -> tuple[tuple[int, int], ...]:
    """Cells in the order of their bits (7.7.3): up and down, two columns wide, from the right."""
    cells = []
    upwards = True
    right = CODE_CELLS - 1
    while right > 0:
        # The column of the timing pattern is stepped over.
        right -= right == _TIMING
        rows = range(CODE_CELLS)
        for row in reversed(rows) if upwards else rows:
            cells += [(row, column) for column in (right, right - 1)]
        upwards = not upwards
        right -= 2
    return tuple(cell for cell in cells if not is_function_cell(*cell))


def _is_masked(column: int) -> bool:
    """Whether the mask of every code, number 2, turns a column's cells over (table 10)."""
    return column % 3 == 0


def _number(bits: Sequence[bool]) -> int:
    value = 0
    for bit in bits:
        value = 2 * value + bit
    return value


def _letters(codewords: Sequence[int]) -> str | None:
    """Read the one segment of the data (7.4.4)."""
    bits = [bool(word >> place & 1) for word in codewords for place in range(7, -1, -1)]
    count = _number(bits[_MODE_BITS : _MODE_BITS + _COUNT_BITS])
    start = _MODE_BITS + _COUNT_BITS
    end = start + count // 2 * _PAIR_BITS + count % 2 * _SINGLE_BITS
    if _number(bits[:_MODE_BITS]) != _MODE or end > len(bits):
        return None
    text = ""
    for place in range(start, end, _PAIR_BITS):
        value = _number(bits[place : min(place + _PAIR_BITS, end)])
        pair = divmod(value, len(ALPHANUMERIC)) if place + _PAIR_BITS <= end else (value,)
        if max(pair) >= len(ALPHANUMERIC):
            return None
        text += "".join(ALPHANUMERIC[letter] for letter in pair)
    return text


# --- Reed-Solomon ---------------------------------------------------------------------------------


def corrected_codewords(received: Sequence[int], check_codewords: int) -> list[int] | None:
    """
    Put wrong codewords of a Reed-Solomon block right.

    Parameters
    ----------
    received : sequence of int
        Data and check codewords, each 0 to 255, the highest power first.
    check_codewords : int
        How many of them are check codewords; half as many may be wrong.

    Returns
    -------
    list of int or None
        The codewords as they were written; None if too many are wrong.

    References
    ----------
    .. [1] ISO/IEC 18004, 7.5.2 and annex B.
    .. [2] J. L. Massey, Shift-register synthesis and BCH decoding, 1969; G. D. Forney, On decoding
       BCH codes, 1965.
    """
    syndromes = [_value(received, _power(root)) for root in range(check_codewords)]
    if not any(syndromes):
        return list(received)
    locator = _locator(syndromes)
    errors = len(locator) - 1
    # Of the polynomial with its lowest power first: the roots are the inverses of the places.
    places = [place for place in range(len(received)) if _value(locator[::-1], _power(-place)) == 0]
    if 2 * errors > check_codewords or len(places) != errors:
        return None
    evaluator = _product(syndromes, locator)[:check_codewords]
    slope = [term if power % 2 else 0 for power, term in enumerate(locator)][1:]
    corrected = list(received)
    for place in places:
        inverse = _power(-place)
        magnitude = _times(
            _power(place),
            _over(_value(evaluator[::-1], inverse), _value(slope[::-1], inverse)),
        )
        corrected[len(received) - 1 - place] ^= magnitude
    wrong = any(_value(corrected, _power(root)) for root in range(check_codewords))
    return None if wrong else corrected


def _locator(syndromes: Sequence[int]) -> list[int]:
    """Find the shortest register that gives the syndromes (Massey 1969), lowest power first."""
    current, previous = [1], [1]
    length, gap, last = 0, 1, 1
    for number, syndrome in enumerate(syndromes):
        difference = syndrome
        for place in range(1, min(length, len(current) - 1) + 1):
            difference ^= _times(current[place], syndromes[number - place])
        if difference == 0:
            gap += 1
            continue
        factor = _over(difference, last)
        changed = [0] * gap + [_times(factor, term) for term in previous]
        size = max(len(current), len(changed))
        summed = [
            (current[power] if power < len(current) else 0)
            ^ (changed[power] if power < len(changed) else 0)
            for power in range(size)
        ]
        if 2 * length <= number:
            previous, last, length, gap = current, difference, number + 1 - length, 1
        else:
            gap += 1
        current = summed
    while len(current) > 1 and current[-1] == 0:
        current.pop()
    return current


@cache
def _tables() -> tuple[tuple[int, ...], dict[int, int]]:
    powers = [1]
    while len(powers) < _ORDER:
        doubled = powers[-1] * 2
        powers.append(doubled ^ _FIELD if doubled > _ORDER else doubled)
    return tuple(powers), {value: exponent for exponent, value in enumerate(powers)}


def _power(exponent: int) -> int:
    return _tables()[0][exponent % _ORDER]


def _times(first: int, second: int) -> int:
    if not first or not second:
        return 0
    powers, logarithms = _tables()
    return powers[(logarithms[first] + logarithms[second]) % _ORDER]


def _over(first: int, second: int) -> int:
    if not second:
        return 0
    return _times(first, _power(-_tables()[1][second]))


def _value(polynomial: Sequence[int], at: int) -> int:
    """Value of a polynomial whose highest power comes first."""
    value = 0
    for term in polynomial:
        value = _times(value, at) ^ term
    return value


def _product(first: Sequence[int], second: Sequence[int]) -> list[int]:
    product = [0] * (len(first) + len(second) - 1)
    for power, term in _terms(first):
        for other_power, other in _terms(second):
            product[power + other_power] ^= _times(term, other)
    return product


def _terms(polynomial: Sequence[int]) -> Iterator[tuple[int, int]]:
    return ((power, term) for power, term in enumerate(polynomial) if term)
