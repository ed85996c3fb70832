"""Items read without trusting any of it; times put right by how far a clock was off."""

from datetime import UTC, datetime, timedelta
from itertools import product

import pytest

from audits.phone_items import (
    ItemKind,
    Unreadable,
    canonical_text,
    instant,
    open_parcel,
    read_item,
    reread,
    true_time,
)
from audits.vocabulary import Outcome, PlantingKind, Stage

ID = "0f8fad5b-d9cb-469f-a165-70867728950e"
AUDIT = "7c9e6679-7425-40de-944b-e07fc1f90ae7"
BODIES = {
    "tree": {"tree": 5, "answers": {"missed": "tree"}},
    "take_back": {"tree": 5},
    "not_a_tree": {"tree": 5, "kind": "dead", "instead": 9},
    "seal": {"outcomes": {"top": "accepted", "limbs": "office"}},
}


def item(kind="tree", /, **changed):
    return {
        "schema": 1,
        "id": ID,
        "counter": 3,
        "at": "2026-01-20T17:00:00.250Z",
        "kind": kind,
        "audit": AUDIT,
        "draw": 2,
        "standard": {"version": 1, "digest": "ab"},
        "body": BODIES.get(kind),
    } | changed


def test_each_kind_is_read():
    tree, back, gone, seal = (read_item(item(kind)) for kind in BODIES)
    assert (tree.kind, tree.tree, tree.answers) == (ItemKind.TREE, 5, {"missed": "tree"})
    assert (tree.id, tree.counter, tree.audit, tree.draw, tree.digest) == (ID, 3, AUDIT, 2, "ab")
    assert tree.at == datetime(2026, 1, 20, 17, 0, 0, 250_000, tzinfo=UTC)
    assert (back.kind, back.tree) == (ItemKind.TAKE_BACK, 5)
    assert (gone.found_kind, gone.instead) == (PlantingKind.DEAD, 9)
    # What is left to the office is no verdict.
    assert (seal.kind, seal.outcomes) == (ItemKind.SEAL, {Stage.TOP: Outcome.ACCEPTED})


def test_no_reserve_tree_left_is_told_from_none_named():
    body = {"tree": 5, "kind": "dead", "instead": None}
    assert read_item(item("not_a_tree", body=body)).instead is None
    with pytest.raises(Unreadable, match="instead"):
        read_item(item("not_a_tree", body={"tree": 5, "kind": "dead"}))


def test_fields_of_a_later_app_are_passed_over():
    assert read_item(item(colour="red")) == read_item(item())


@pytest.mark.parametrize("field", sorted(item()))
def test_every_field_is_needed(field):
    lacking = item()
    del lacking[field]
    with pytest.raises(Unreadable):
        read_item(lacking)


@pytest.mark.parametrize(
    ("field", "value"),
    [
        *product(["schema", "counter", "draw"], [None, True, "1", 1.0, -1, 2**31, []]),
        ("schema", 2),
        *product(["id", "audit"], [None, 7, "", "x", ID.replace("-", ""), f"{ID}0", f" {ID}"]),
        *product(["at"], [None, 7, []]),
        *product(["kind"], [None, 7, "", "damaged", "seal\x00"]),
        *product(["standard"], [None, 7, [], {}, {"digest": 7}]),
        *product(["body"], [None, 7, [], {}, {"tree": "5", "answers": {}}, {"tree": 5}]),
    ],
)
def test_a_value_that_cannot_be_makes_it_unreadable(field, value):
    with pytest.raises(Unreadable):
        read_item(item(**{field: value}))
    parcel = open_parcel(item(**{field: value}))
    assert parcel.item is None
    assert parcel.text == canonical_text(item(**{field: value}))


@pytest.mark.parametrize(
    "outcomes", [None, [], {"top": "good"}, {"roots": "accepted"}, {"top": None}, {"top": []}]
)
def test_outcomes_are_stages_with_words_known_here(outcomes):
    with pytest.raises(Unreadable):
        read_item(item("seal", body={"outcomes": outcomes}))


@pytest.mark.parametrize("value", [None, 7, "x", [], [item()], float("nan")])
def test_what_is_no_item_is_still_a_parcel(value):
    parcel = open_parcel(value)
    assert parcel.item is None
    assert parcel.key == f"sha256:{parcel.text_hash[:57]}"
    assert len(parcel.key) == 64


@pytest.mark.parametrize("name", [7, "", "x" * 65, "\x00", "\ud800", "a\nb"])
def test_a_name_that_cannot_be_kept_is_replaced_by_the_hash(name):
    assert open_parcel(item(id=name)).key.startswith("sha256:")


def test_an_unreadable_item_keeps_what_can_be_told_of_it():
    parcel = open_parcel(item(id="x", kind="?"))
    assert (parcel.key, parcel.counter, parcel.audit) == ("x", 3, AUDIT)
    assert parcel.at == datetime(2026, 1, 20, 17, 0, 0, 250_000, tzinfo=UTC)


def test_equal_items_have_equal_text_and_other_ones_another():
    backwards = dict(reversed(item().items()))
    assert open_parcel(backwards).text_hash == open_parcel(item()).text_hash
    assert open_parcel(item(draw=7)).text_hash != open_parcel(item()).text_hash
    assert open_parcel(item()).text.isascii()


@pytest.mark.parametrize("kind", BODIES)
def test_what_is_kept_can_be_read_again(kind):
    assert reread(open_parcel(item(kind)).text) == read_item(item(kind))


@pytest.mark.parametrize("text", ["", "{", "7", "[" * 100_000])
def test_what_never_was_an_item_is_told(text):
    with pytest.raises(Unreadable):
        reread(text)


def test_what_no_json_can_hold_is_kept_as_far_as_it_goes():
    assert canonical_text({"a": {1}}) == "{'a': {1}}"
    nested = []
    for _ in range(100_000):
        nested = [nested]
    assert canonical_text(nested) == "<list>"


@pytest.mark.parametrize(
    "value",
    [None, 7, "", "soon", "2026-01-20T17:00:00", "+275760-09-13T00:00:00.000Z"],
)
def test_a_time_that_is_none_is_none(value):
    assert instant(value) is None


def test_a_time_beyond_the_calendar_is_none():
    assert instant("0001-01-01T00:00:00+23:59") is None
    assert instant("9999-12-31T23:59:59-23:59") is None


NOON = datetime(2026, 1, 20, 12, tzinfo=UTC)
HOUR = timedelta(hours=1)


@pytest.mark.parametrize("off", [timedelta(0), -30 * HOUR, 30 * HOUR, -490_000 * HOUR])
def test_a_time_is_put_right_by_how_far_the_clock_was_off(off):
    found = true_time(NOON + off, NOON + 2 * HOUR + off, NOON + 2 * HOUR, earliest=NOON - HOUR)
    assert found == NOON


@pytest.mark.parametrize(
    ("claimed", "sent_at", "found"),
    [
        (None, NOON, NOON + HOUR),
        (NOON, None, NOON),
        (NOON - 9 * HOUR, None, NOON - HOUR),
        (NOON + 9 * HOUR, None, NOON + HOUR),
        (datetime.max.replace(tzinfo=UTC), datetime.min.replace(tzinfo=UTC), NOON + HOUR),
    ],
)
def test_it_lies_between_the_draw_and_the_arrival(claimed, sent_at, found):
    assert true_time(claimed, sent_at, NOON + HOUR, earliest=NOON - HOUR) == found
