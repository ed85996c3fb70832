"""The practice page: its shell, the trees it takes along, and what it sends back."""

import gzip
import json
from datetime import date
from uuid import uuid4

import pytest
import sqlalchemy as sa

from audits.services import farms, passes, standards
from audits.storage.queries.standards import standard_by_id
from audits.storage.tables import exercise_result, practice_result, practice_stage
from audits.vocabulary import BearingHabit, Method, PassKind, Result, Role, Stage
from tests.web.conftest import NOW

# What a phone on a slow line can still take along (our choice).
MOST_BYTES = 1_500_000


@pytest.fixture
def worker(sign_in):
    return sign_in(Role.WORKER)


@pytest.fixture(scope="module")
def kept() -> dict[str, dict]:
    return {}


@pytest.fixture
def pack(worker, orchard, kept) -> dict:
    """The trees of the block, drawn once for the module: they are the same each time."""
    if "pack" not in kept:
        kept["pack"] = worker.get(f"/practice/pack.json?block={orchard.block_id}").json
    return kept["pack"]


def tree_item(pack, orchard, cuts, *, tree=None, level="one", stages=("limbs",), **changes):
    tree = tree or pack["trees"][0]
    return {
        "uid": str(uuid4()),
        "kind": "tree",
        "worker_id": orchard.worker_ids[0],
        "standard_version_id": pack["standard_version_id"],
        "method": pack["method"],
        "edition": pack["edition"],
        "tree_seed": int(tree["seed"]),
        "tree_kind": tree["kind"],
        "level": level,
        "stages": list(stages),
        "cuts": cuts,
        "language": "es",
        "done_at": "2026-01-20T17:00:00.000Z",
    } | changes


def send(client, *items):
    answer = client.post("/practice/results", json={"items": list(items)})
    assert answer.status_code == 200, answer.text
    return answer.json["receipts"]


def rows(database, table):
    with database.read() as connection:
        return connection.execute(sa.select(table)).all()


def test_the_shell_is_the_same_for_everybody_and_open_without_a_sign_in(app, worker):
    pages = [client.get("/practice/") for client in (app.test_client(), worker)]
    assert [page.status_code for page in pages] == [200, 200]
    assert pages[0].data == pages[1].data
    for address in ("worker.js", "phrases.json", "manifest.webmanifest"):
        assert app.test_client().get(f"/practice/{address}").status_code == 200


def test_a_pack_is_small_enough_to_take_along_and_the_same_each_time(worker, orchard):
    address = f"/practice/pack.json?block={orchard.block_id}"
    first = worker.get(address, headers={"Accept-Encoding": "gzip"})
    assert len(first.data) < MOST_BYTES
    assert len(json.loads(gzip.decompress(first.data))["trees"]) >= 20
    again = worker.get(address, headers={"If-None-Match": first.headers["ETag"]})
    assert again.status_code == 304


def test_trees_that_nobody_may_top_or_strip_are_among_them(pack):
    kinds = {tree["kind"] for tree in pack["trees"]}
    assert {"usual", "not_due", "low_bloom", "no_large_limb", "too_many_limbs"} <= kinds


@pytest.mark.parametrize("level", ["one", "two", "all"])
def test_the_right_way_that_a_pack_shows_is_right_for_the_engine(
    worker, database, orchard, pack, level
):
    """The office scores by the standard itself; one kind of tree each."""
    by_kind = {tree["kind"]: tree for tree in pack["trees"]}
    items = []
    for tree in by_kind.values():
        ideal = tree["ideal"][level]
        ways = {"+".join(pack["order"]): ideal} if level == "all" else ideal
        items += [
            tree_item(pack, orchard, cuts, tree=tree, level=level, stages=stages.split("+"))
            for stages, cuts in ways.items()
        ]
    receipts = send(worker, *items)
    assert {receipt["outcome"] for receipt in receipts} == {"stored"}
    assert [row.problem for row in rows(database, practice_result)] == [None] * len(items)
    results = {row.result for row in rows(database, practice_stage)}
    assert results <= {Result.CONFORMING, Result.NOT_DUE}


def test_a_tree_left_as_it_was_has_its_fault(worker, database, orchard, pack):
    tree = next(tree for tree in pack["trees"] if tree["ideal"]["one"]["limbs"]["limbs"])
    [receipt] = send(worker, tree_item(pack, orchard, tree["before"]["one"]["limbs"], tree=tree))
    assert receipt["outcome"] == "stored"
    [scored] = rows(database, practice_stage)
    assert (scored.stage, scored.result) == (Stage.LIMBS, Result.NONCONFORMING)


def test_a_result_sent_twice_is_kept_once(worker, database, orchard, pack):
    item = tree_item(pack, orchard, pack["trees"][0]["ideal"]["one"]["limbs"])
    assert [receipt["outcome"] for receipt in send(worker, item)] == ["stored"]
    assert [receipt["outcome"] for receipt in send(worker, item)] == ["known"]
    other = item | {"level": "two", "stages": ["top", "limbs"]}
    [receipt] = send(worker, other)
    assert receipt["outcome"] == "refused"
    assert "came first is kept" in receipt["words"]["en"]
    assert len(rows(database, practice_result)) == 1


@pytest.mark.parametrize(
    ("changes", "problem"),
    [
        ({"cuts": {"top": None, "limbs": ["no"], "sides": [], "heads": {}}}, "no_such_place"),
        ({"cuts": {"top": "t99", "limbs": [], "sides": [], "heads": {}}}, "no_such_place"),
        ({"edition": 99}, "other_edition"),
        ({"tree_seed": 1}, "no_such_tree"),
        ({"stages": ["heading", "top"], "level": "two"}, "no_such_stages"),
    ],
)
def test_impossible_cuts_are_kept_and_said(worker, database, orchard, pack, changes, problem):
    item = tree_item(pack, orchard, pack["trees"][0]["before"]["one"]["limbs"]) | changes
    [receipt] = send(worker, item)
    assert receipt["outcome"] == "stored"
    assert "not scored" in receipt["words"]["en"]
    assert receipt["words"]["es"] != receipt["words"]["en"]
    [kept] = rows(database, practice_result)
    assert (kept.problem, kept.cuts) == (problem, item["cuts"])
    assert rows(database, practice_stage) == []


def test_a_limb_taken_out_twice_is_said_to_be_impossible(worker, database, orchard, pack):
    tree = next(tree for tree in pack["trees"] if tree["ideal"]["one"]["limbs"]["limbs"])
    cuts = dict(tree["ideal"]["one"]["limbs"])
    cuts["limbs"] = [*cuts["limbs"], cuts["limbs"][-1]]
    send(worker, tree_item(pack, orchard, cuts, tree=tree))
    [kept] = rows(database, practice_result)
    assert kept.problem == "cut_twice"


def test_nobody_sends_results_of_somebody_else(worker, database, orchard, pack):
    item = tree_item(pack, orchard, {}, worker_id=orchard.worker_ids[1])
    [receipt] = send(worker, item)
    assert receipt["outcome"] == "refused"
    assert rows(database, practice_result) == []


def test_a_crew_lead_sends_for_whoever_sits_beside(sign_in, database, orchard, pack):
    supervisor = sign_in(Role.SUPERVISOR)
    item = tree_item(pack, orchard, pack["trees"][0]["ideal"]["one"]["limbs"])
    assert [each["outcome"] for each in send(supervisor, item)] == ["stored"]
    [kept] = rows(database, practice_result)
    assert kept.recorded_by == orchard.supervisor.user_id


def test_exercises_are_kept_as_the_phone_saw_them(worker, database, orchard, pack):
    exercise = pack["exercises"][0]
    item = {
        "uid": str(uuid4()),
        "kind": "exercise",
        "worker_id": orchard.worker_ids[0],
        "standard_version_id": pack["standard_version_id"],
        "item": exercise["item"],
        "stage": exercise["stage"],
        "choice": exercise["right"],
        "right": True,
        "language": "es",
        "done_at": "2026-01-20T17:00:00.000Z",
    }
    assert [receipt["outcome"] for receipt in send(worker, item)] == ["stored"]
    [kept] = rows(database, exercise_result)
    assert (kept.item, kept.is_right) == (exercise["item"], True)


@pytest.mark.parametrize(
    "body",
    [
        {"items": "no list"},
        {"items": [{}] * 51},
        [],
        {"items": [None, 7, {"uid": "x"}, {"uid": "y" * 36, "kind": "tree"}]},
    ],
)
def test_what_is_no_result_breaks_nothing(worker, database, body):
    answer = worker.post("/practice/results", json=body)
    assert answer.status_code in {200, 400, 422}
    assert rows(database, practice_result) == []


@pytest.mark.parametrize("block", ["", "x", "99999", "-1", "1e3"])
def test_a_block_that_is_none_has_no_pack(worker, block):
    assert worker.get(f"/practice/pack.json?block={block}").status_code in {400, 404, 422}


def test_a_standard_that_was_practised_on_stays_as_it_is(worker, sign_in, orchard, pack):
    """Its numbers decide how the trees of the results grow."""
    address = f"/blocks/{orchard.block_id}/standards/1"
    supervisor = sign_in(Role.SUPERVISOR)
    assert f"{address}/edit" in supervisor.get(address).text
    tree = pack["trees"][0]
    send(worker, tree_item(pack, orchard, tree["ideal"]["one"]["top"], tree=tree))
    shown = supervisor.get(address).text
    assert f"{address}/edit" not in shown
    assert "Somebody has practised on version 1" in shown
    assert supervisor.get(f"{address}/edit").status_code == 409


def test_the_block_in_which_the_crew_works_is_offered_first(worker, database, orchard):
    """A new hire need not know the name of a block to begin."""
    other = farms.add_block(
        database,
        orchard.owner,
        name="Ant Hill",
        cultivar="Hollow Red",
        habit=BearingHabit.STANDARD,
        rootstock="M.9",
        row_spacing_mm=11 * 304.8,
        tree_spacing_mm=3 * 304.8,
        top_wire_mm=10 * 304.8,
        planting_year=2018,
    )
    with database.read() as connection:
        payload = standard_by_id(connection, orchard.farm_id, orchard.standard_id).payload
    standards.write_standard(
        database,
        orchard.owner,
        other,
        payload=payload,
        in_force_from=date(2025, 11, 1),
        now=NOW,
    )

    def offered():
        return [block["name"] for block in worker.get("/practice/blocks.json").json["blocks"]]

    assert offered() == ["Ant Hill", "Creek Block"]
    passes.begin_pass(
        database,
        orchard.supervisor,
        block_id=orchard.block_id,
        crew_id=orchard.crew_id,
        kind=PassKind.DORMANT,
        method=Method.LADDER,
        row_ids=orchard.row_ids,
        started_at=NOW,
    )
    assert offered() == ["Creek Block", "Ant Hill"]
