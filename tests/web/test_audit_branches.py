"""What the page of an audit says of branches that were counted or measured."""

import pytest

from tests.row_audit import audited, begin, prune, right, walk
from tests.web.pages import read_page

NOTE = "so the range goes by trees as well as by branches."


@pytest.fixture
def lot_id(database, orchard) -> int:
    return prune(database, orchard).lot_ids[0]


def counted(single: int) -> dict:
    faults = ["fork"] if single < 5 else []
    return right(columns={"kind": "columns", "looked_at": 5, "single": single, "faults": faults})


def page_text(client, audit_id) -> str:
    return read_page(client.get(f"/audits/{audit_id}/trees")).text


def test_counted_columns_are_told_with_a_range_that_goes_by_trees(
    database, orchard, supervisor, lot_id
):
    # 2 of 12 trees have no single column: 50 of 60 branches. Counting branches alone would say
    # 71 to 92 in 100 (Clopper-Pearson), so 7 to 10 in 10.
    audit_id = begin(database, orchard, lot_id)
    walk(database, orchard, audit_id, lambda tree: counted(0 if tree <= 2 else 5), most=12)
    text = page_text(supervisor, audit_id)
    assert "Branch by branch" in text
    assert "Branches that are single columns: 4 to 10 in 10 (60 branches on 12 trees)." in text
    assert NOTE in text


def test_few_trees_give_counts_and_no_range(database, orchard, supervisor, lot_id):
    audit_id = begin(database, orchard, lot_id)
    walk(database, orchard, audit_id, lambda _tree: counted(4), most=3)
    text = page_text(supervisor, audit_id)
    assert (
        "Branches that are single columns: 12 of 15 branches on 3 trees. Too few for a rate."
    ) in text
    assert NOTE not in text


def test_measured_ends_are_told_apart(database, orchard, supervisor, lot_id):
    measured = right(heading={"kind": "heading", "diameters_mm": [7, 8, 12], "left_long": 0})
    audit_id = begin(database, orchard, lot_id)
    walk(database, orchard, audit_id, lambda _tree: measured, most=2)
    text = page_text(supervisor, audit_id)
    assert "Branch ends headed right: 4 of 6 branches on 2 trees." in text
    assert "single columns:" not in text


def test_answers_by_looking_alone_say_nothing_of_branches(database, orchard, supervisor, lot_id):
    audit_id = audited(database, orchard, lot_id)
    assert "Branch by branch" not in page_text(supervisor, audit_id)
