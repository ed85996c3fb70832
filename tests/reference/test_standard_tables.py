"""
Code letters, plans and limit numbers of MIL-STD-105E, every cell.

The files `data/mil-std-105e-*.json` say of each table with which independent copies it was
compared; `data/switching-rules.json` holds Table VIII. Where copies disagree, the files name it.
"""

import itertools
import json
from pathlib import Path

import pytest

from audits.sampling import DoublePlan, SinglePlan
from audits.sampling.tables import (
    ACCEPTABLE_QUALITY_LIMITS,
    CODE_LETTERS,
    InspectionLevel,
    NoLimit,
    Pointer,
    code_letter,
    limit_number,
    resolved_cell,
    table_cell,
    table_plan,
    tighter_acceptance_number,
)

FOLDER = Path(__file__).parent / "data"
LETTERS = json.loads((FOLDER / "mil-std-105e-code-letters.json").read_text())
LIMIT_NUMBERS = json.loads((FOLDER / "switching-rules.json").read_text())["mil-std-105e"][
    "table_viii"
]
KINDS = ("single", "double")
INSPECTIONS = ("normal", "tightened", "reduced")
TABLES = {
    (kind, inspection): json.loads((FOLDER / f"mil-std-105e-{kind}-{inspection}.json").read_text())
    for kind, inspection in itertools.product(KINDS, INSPECTIONS)
}
each_table = pytest.mark.parametrize(("kind", "inspection"), TABLES)

# A lot that needs no inspection of every tree, and one for each letter at the levels below.
ENDLESS = 10**9


def printed_plan(cell):
    if "n1" in cell:
        return DoublePlan(
            cell["n1"], cell["ac1"], cell["re1"], cell["n2"], cell["ac2"], cell["re2"]
        )
    return SinglePlan(cell["n"], cell["ac"], cell["re"])


def printed_cell(row, limit):
    cell = row["plans"][limit]
    if cell is None:
        return Pointer.EMPTY
    if isinstance(cell, str):
        return Pointer(cell)
    return printed_plan(cell if "n1" in cell else {"n": row["n"], **cell})


@pytest.mark.parametrize("row", LETTERS["rows"], ids=lambda row: str(row["lot_min"]))
def test_every_code_letter_is_as_printed(row):
    assert list(row["letters"]) == list(InspectionLevel)
    largest = ENDLESS if row["lot_max"] is None else row["lot_max"]
    for lot_size in (row["lot_min"], (row["lot_min"] + largest) // 2, largest):
        for level, letter in row["letters"].items():
            assert code_letter(lot_size, level) == letter


def test_the_code_letters_are_those_printed():
    assert LETTERS["order_of_letters"] == list(CODE_LETTERS)
    for lookup in LETTERS["published_lookups"]:
        assert code_letter(lookup["lot"], lookup["level"]) == lookup["letter"]


@each_table
def test_every_cell_is_as_printed(kind, inspection):
    table = TABLES[kind, inspection]
    assert table["aql"] == list(ACCEPTABLE_QUALITY_LIMITS)
    assert list(table["letters"])[: len(CODE_LETTERS)] == list(CODE_LETTERS)
    for letter, row in table["letters"].items():
        for limit in table["aql"]:
            found = table_cell(letter, limit, inspection=inspection, kind=kind)
            assert found == printed_cell(row, limit), (letter, limit)


@each_table
def test_every_arrow_leads_to_the_printed_plan(kind, inspection):
    table = TABLES[kind, inspection]
    assert list(table["resolved"]) == list(CODE_LETTERS)
    for letter, row in table["resolved"].items():
        assert list(row) == table["aql"]
        for limit, expected in row.items():
            reached, plan = resolved_cell(letter, limit, inspection=inspection, kind=kind)
            assert reached == expected["letter"], (letter, limit)
            if expected.get("use") == "single":
                single = TABLES["single", inspection]["letters"][reached]
                assert plan == printed_cell(single, limit), (letter, limit)
            else:
                assert plan == printed_plan(expected), (letter, limit)


@each_table
def test_look_ups_printed_elsewhere_agree(kind, inspection):
    for lookup in TABLES[kind, inspection]["published_lookups"]:
        reached, plan = resolved_cell(
            lookup["letter"], lookup["aql"], inspection=inspection, kind=kind
        )
        assert reached == lookup.get("resolves_to", lookup["letter"])
        assert plan == printed_plan(lookup)


@each_table
def test_a_lot_gets_the_plan_of_its_letter(kind, inspection):
    for row, level in itertools.product(LETTERS["rows"], InspectionLevel):
        for limit in ACCEPTABLE_QUALITY_LIMITS:
            lot_size = row["lot_min"]
            _, printed = resolved_cell(
                row["letters"][level], limit, inspection=inspection, kind=kind
            )
            plan = table_plan(lot_size, limit, level=level, inspection=inspection, kind=kind)
            if printed.sample_size < lot_size:
                assert plan == printed
            else:
                last = printed.waves[-1].rejection_number
                assert plan == SinglePlan(lot_size, printed.acceptance_number, last)


@pytest.mark.parametrize("row", LIMIT_NUMBERS["rows"], ids=lambda row: str(row["units_min"]))
def test_every_limit_number_is_as_printed(row):
    assert list(row["limits"]) == list(ACCEPTABLE_QUALITY_LIMITS)
    without_number = {"*": NoLimit.TOO_FEW_TREES, None: NoLimit.NOT_GIVEN}
    for trees in (row["units_min"], row["units_max"] or ENDLESS):
        for limit, expected in row["limits"].items():
            found = limit_number(trees, limit)
            assert found == without_number.get(expected, expected), (trees, limit)
            assert isinstance(found, int) == isinstance(expected, int)


def test_the_rows_of_limit_numbers_leave_no_trees_out():
    rows = LIMIT_NUMBERS["rows"]
    for row, following in itertools.pairwise(rows):
        assert row["units_max"] + 1 == following["units_min"]
    assert limit_number(rows[0]["units_min"] - 1, "1000") is NoLimit.TOO_FEW_TREES


def test_a_tighter_limit_judges_the_same_sample():
    # ISO 2859-1 asks what the sample taken would have meant one limit earlier.
    single = TABLES["single", "normal"]
    asked = 0
    for row in LETTERS["rows"]:
        for column, limit in enumerate(ACCEPTABLE_QUALITY_LIMITS):
            in_use = single["resolved"][row["letters"]["II"]][limit]
            found = tighter_acceptance_number(row["lot_min"], limit)
            if in_use["ac"] <= 1:
                assert found is None
                continue
            earlier = single["letters"][in_use["letter"]]["plans"][single["aql"][column - 1]]
            assert found == earlier["ac"] < in_use["ac"]
            asked += 1
    assert asked > 200
