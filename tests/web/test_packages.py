"""What a phone takes along: the lots, the draws made ahead, and the packages."""

import json
import re
from concurrent.futures import ThreadPoolExecutor
from hashlib import sha256
from itertools import product
from threading import Barrier, get_ident

import pytest

from audits.sampling import DrawnTree, Place
from audits.sampling.route import order_of_walk
from audits.scoring import Missed, read_answers, score_tree
from audits.services import preparing, standards
from audits.services.auditing import begin_audit
from audits.services.preparing import prepare_lots, prepared_lots
from audits.storage import tables
from audits.storage.queries import audits as queries
from audits.storage.queries import standards as standard_queries
from audits.vocabulary import HeadingRule, LotState, Method, Role, Side, Stage
from tests.orchard import WORKERS
from tests.row_audit import PHONE, prune
from tests.row_phone import enrolled
from tests.web.conftest import NOW
from tests.web.pages import read_page
from webapp.extensions import farm
from webapp.field.packages import package
from webapp.field.stages import panels_of, stage_payload
from webapp.reading import words_in


@pytest.fixture
def phone(database, orchard):
    return enrolled(database, orchard.supervisor, NOW)


@pytest.fixture
def client(app, phone):
    return phone.open(app)


@pytest.fixture
def pruned(database, orchard):
    return prune(database, orchard, rows=3)


def ask(client, lots="all"):
    return client.post("/field/prepare", json={"lots": lots})


def prepare(client, lots="all"):
    answer = ask(client, lots)
    assert answer.status_code == 200, answer.text
    return answer.json


def draws(database) -> list:
    with database.read() as connection:
        return connection.execute(tables.draw.select().order_by(tables.draw.c.id)).all()


def state_of(database) -> dict[str, list]:
    """Return everything that is stored, table by table."""
    with database.read() as connection:
        return {
            table.name: [tuple(row) for row in connection.execute(table.select())]
            for table in tables.metadata.sorted_tables
        }


# --- drawing ahead -------------------------------------------------------------------------------


def test_one_call_draws_every_lot_that_waits_and_begins_no_audit(client, database, pruned):
    answer = prepare(client)

    assert [one["lot"] for one in answer["prepared"]] == pruned.lot_ids
    assert answer["problems"] == []
    assert [drawn.lot_id for drawn in draws(database)] == pruned.lot_ids
    with database.read() as connection:
        assert not connection.execute(tables.audit.select()).all()
        states = set(connection.scalars(tables.lot.select().with_only_columns(tables.lot.c.state)))
    assert states == {LotState.IN_AUDIT}


def test_whoever_prepares_second_gets_the_same_trees(app, client, database, orchard, pruned):
    first = prepare(client)["prepared"]
    other = enrolled(database, orchard.owner, NOW).open(app)
    second = prepare(other)["prepared"]

    assert [one["trees"] for one in second] == [one["trees"] for one in first]
    assert len(draws(database)) == len(pruned.lot_ids)


def test_two_people_who_prepare_at_the_same_moment_get_one_draw(
    database, orchard, pruned, monkeypatch
):
    """Both have seen a lot without a draw before either may write."""
    both = Barrier(2, timeout=20)
    met = set()
    plan = preparing.plan_lot_audit

    def plan_together(*given, **named):
        if get_ident() not in met:
            met.add(get_ident())
            both.wait()
        return plan(*given, **named)

    monkeypatch.setattr(preparing, "plan_lot_audit", plan_together)
    with ThreadPoolExecutor(2) as people:
        asked = [
            people.submit(
                prepare_lots, database, person, pruned.lot_ids[:1], new_seed=lambda: 1, now=NOW
            )
            for person in (orchard.supervisor, orchard.owner)
        ]
        one, other = (answer.result() for answer in asked)

    assert not one.problems
    assert not other.problems
    assert one.prepared[0].draw == other.prepared[0].draw
    assert len(draws(database)) == 1


def test_begun_by_hand_or_prepared_it_is_the_same_draw(client, database, orchard, pruned):
    drawn = prepare(client, pruned.lot_ids[:1])["prepared"][0]
    audit_id = begin_audit(
        database,
        orchard.owner,
        pruned.lot_ids[0],
        seed=99,
        client_id="desk",
        device=PHONE,
        now=NOW,
    )
    with database.read() as connection:
        assert queries.audit_by_id(connection, orchard.farm_id, audit_id).draw_id == drawn["draw"]


def test_a_lot_that_cannot_be_planned_keeps_no_other_back(client, database, pruned):
    gone, *others = pruned.lot_ids
    with database.write() as connection:
        row_id = connection.scalar(
            tables.lot_range.select()
            .with_only_columns(tables.lot_range.c.orchard_row_id)
            .where(tables.lot_range.c.lot_id == gone)
        )
        connection.execute(
            tables.planting.update()
            .where(tables.planting.c.orchard_row_id == row_id)
            .values(kind="dead")
        )
    answer = prepare(client)

    assert [one["lot"] for one in answer["prepared"]] == others
    (problem,) = answer["problems"]
    assert problem["lot"] == gone
    assert problem["name"]["en"] == "Row 1"
    assert problem["words"]["en"] == "No bearing tree of the standard stands in this lot."
    assert problem["words"]["es"] != problem["words"]["en"]


def test_a_lot_that_does_not_exist_is_said_beside_the_others(client, pruned):
    answer = prepare(client, [*pruned.lot_ids, 999_999])

    assert len(answer["prepared"]) == len(pruned.lot_ids)
    assert [problem["lot"] for problem in answer["problems"]] == [999_999]


def test_lots_that_were_passed_over_are_not_drawn_by_all(client, database, pruned):
    passed_over = pruned.lot_ids[0]
    with database.write() as connection:
        connection.execute(
            tables.lot.update()
            .where(tables.lot.c.id == passed_over)
            .values(state=LotState.NOT_CHOSEN, chosen=False)
        )
    assert passed_over not in [one["lot"] for one in prepare(client)["prepared"]]
    assert passed_over not in [one["lot"] for one in client.get("/field/lots").json]


def test_one_lot_can_be_prepared_by_itself(client, database, pruned):
    prepare(client, pruned.lot_ids[1:2])

    assert [drawn.lot_id for drawn in draws(database)] == pruned.lot_ids[1:2]
    listed = {one["lot"]: one["prepared"] for one in client.get("/field/lots").json}
    assert listed == {lot_id: lot_id == pruned.lot_ids[1] for lot_id in pruned.lot_ids}


@pytest.mark.usefixtures("pruned")
def test_asking_draws_nothing(client, database):
    before = state_of(database)
    assert client.get("/field/lots").status_code == 200
    assert client.get("/field/packages").json["prepared"] == []

    after = state_of(database)
    assert after == before


@pytest.mark.usefixtures("pruned")
def test_a_phone_gets_only_the_packages_that_it_does_not_know(client):
    prepared = prepare(client)["prepared"]
    known = ",".join(f"{one['draw']}:{one['standard']['digest']}" for one in prepared[:2])
    answer = client.get("/field/packages", query_string={"known": known}).json

    assert [one["draw"] for one in answer["prepared"]] == [prepared[2]["draw"]]
    assert answer["open"] == [one["draw"] for one in prepared]
    stale = f"{prepared[0]['draw']}:{'0' * 64}"
    again = client.get("/field/packages", query_string={"known": stale}).json
    assert len(again["prepared"]) == len(prepared)


@pytest.mark.parametrize(
    "body",
    [
        b"",
        b"[]",
        b"null",
        b'{"lots": null}',
        b'{"lots": "some"}',
        b'{"lots": [true]}',
        b'{"lots": [1.5]}',
        b'{"lots": [0]}',
        b'{"lots": [-1]}',
        b'{"lots": [99999999999999999999]}',
        b'{"lots": ["1"]}',
        b'{"lots": {"1": 1}}',
        b'{"lots": [[1]]}',
        b"\xff\xfe{",
        b"[" * 50_000,
    ],
)
@pytest.mark.usefixtures("pruned")
def test_what_cannot_be_read_prepares_nothing(client, database, body):
    before = state_of(database)
    answer = client.post("/field/prepare", data=body, content_type="application/json")

    assert 400 <= answer.status_code < 500
    assert answer.mimetype == "application/json"
    assert {"problem", "words"} <= answer.json.keys()
    assert state_of(database) == before


@pytest.mark.usefixtures("pruned")
def test_the_token_of_a_form_is_asked_for(app, phone):
    app.config["WTF_CSRF_ENABLED"] = True
    answer = ask(phone.open(app))

    assert answer.status_code == 400
    assert answer.json["problem"] == "stale_token"


@pytest.mark.parametrize(
    ("method", "path"),
    [("GET", "/field/lots"), ("GET", "/field/packages"), ("POST", "/field/prepare")],
)
@pytest.mark.usefixtures("pruned")
def test_only_an_enrolled_phone_takes_anything_along(app, sign_in, method, path):
    visitors = [app.test_client(), sign_in(Role.OWNER), sign_in(Role.WORKER)]
    answers = [client.open(path, method=method, json={"lots": "all"}) for client in visitors]

    assert [answer.status_code for answer in answers] == [401, 401, 403]
    assert {answer.mimetype for answer in answers} == {"application/json"}


# --- what is in a package ------------------------------------------------------------------------


@pytest.fixture
def taken(client, pruned):
    return prepare(client, pruned.lot_ids[:1])["prepared"][0]


def test_a_package_says_what_it_is(taken, database, orchard, pruned):
    with database.read() as connection:
        version = standard_queries.standard_by_id(connection, orchard.farm_id, orchard.standard_id)
    canonical = json.dumps(version.payload, sort_keys=True, separators=(",", ":")).encode()

    assert taken["schema"] == 1
    assert taken["lot"] == pruned.lot_ids[0]
    assert taken["name"] == {"en": "Row 1", "es": "Hilera 1"}
    assert taken["purpose"] == "first"
    assert taken["standard"] == {
        "version": version.version,
        "digest": sha256(canonical).hexdigest(),
    }
    assert [stage["stage"] for stage in taken["stages"]] == list(Stage)
    assert {kind["value"] for kind in taken["kinds"]} == {
        "replant",
        "pollinizer",
        "other_cultivar",
        "dead",
        "missing",
    }


def test_a_package_holds_no_name_and_no_code_of_a_worker(taken):
    text = json.dumps(taken, ensure_ascii=False)
    for code, name, _ in WORKERS:
        assert f'"{code}"' not in text
        assert not any(part in text for part in name.split())


def test_the_trees_are_those_of_the_draw(taken, database, orchard):
    with database.read() as connection:
        stored = queries.draw_trees(connection, orchard.farm_id, taken["draw"])
    sample = [tree for tree in taken["trees"] if tree["order"] is not None]
    reserve = [tree for tree in taken["trees"] if tree["reserve"] is not None]

    assert [tree["id"] for tree in taken["trees"]] == [tree.id for tree in stored]
    assert [tree["order"] for tree in sample] == list(range(1, taken["wave_sizes"][-1] + 1))
    assert [tree["reserve"] for tree in reserve] == list(range(1, len(reserve) + 1))
    assert len(sample) + len(reserve) == len(taken["trees"])
    assert {len(tree["ranks"]) for tree in sample} == {1}
    assert {len(tree["ranks"]) for tree in reserve} == {len(taken["wave_sizes"])}


def test_the_ranks_give_back_the_order_of_the_walk(taken):
    sample = [tree for tree in taken["trees"] if tree["order"] is not None]
    assert sorted(sample, key=lambda tree: tree["ranks"]) == sample

    # Each reserve tree, taken in either wave, comes where a walk drawn with it would have it.
    places = [
        Place(int(row), position)
        for row, facts in taken["rows"].items()
        for position in range(1, facts["tree_count"] + 1)
    ]
    reserve = [tree for tree in taken["trees"] if tree["reserve"] is not None]
    for tree, wave in product(reserve, range(1, len(taken["wave_sizes"]) + 1)):
        drawn = [*map(as_drawn, sample), as_drawn(tree | {"wave": wave})]
        expected = order_of_walk(drawn, places).index(as_drawn(tree | {"wave": wave}))
        ranked = sum(other["ranks"][0] < tree["ranks"][wave - 1] for other in sample)
        assert ranked == expected


def as_drawn(tree) -> DrawnTree:
    return DrawnTree(
        None, Place(tree["row"], tree["position"]), Side(tree["side"]), wave=tree["wave"]
    )


def test_both_languages_are_the_screen_of_the_trees_own_page(taken, sign_in, database, orchard):
    audit_id = begin_audit(
        database,
        orchard.supervisor,
        taken["lot"],
        seed=1,
        client_id="beside",
        device=PHONE,
        now=NOW,
    )
    first = taken["trees"][0]["id"]
    for language in ("en", "es"):
        page = sign_in(Role.SUPERVISOR, language).get(f"/audits/{audit_id}/trees/{first}").text
        shown = page.partition('<div class="stages">')[2].partition("</section>\n</div>")[0]
        kept = taken["screens"][language].partition('<div class="stages">')[2]
        assert without_tallies(shown) == without_tallies(kept.partition("</section>\n</div>")[0])
    assert taken["screens"]["es"] != taken["screens"]["en"]


def without_tallies(markup: str) -> list[str]:
    kept = re.sub(r'<span class="stage-tally">.*?</span>', "", markup)
    return [line.strip() for line in kept.splitlines() if line.strip()]


# --- results come from the scoring engine --------------------------------------------------------


def standards_of_all_kinds(database, orchard):
    """Return standards that differ in what their tiles can say."""
    with database.read() as connection:
        version = standard_queries.standard_by_id(connection, orchard.farm_id, orchard.standard_id)
    base = standards.standard_of(version).model_dump(mode="json")
    for rule, least, most, measured in product(HeadingRule, (0, 2), (2, 5), (False, True)):
        payload = json.loads(json.dumps(base))
        payload["heading"]["rule"] = rule
        payload["limbs"] |= {"least": least, "most": most}
        payload["top"]["measured"] = measured
        yield standards.read_standard(payload)


def test_every_tile_has_the_result_of_the_scoring_engine(app, database, orchard, pruned):
    """The phone looks results up; here each answer is scored again, named fault by named fault."""
    with database.read() as connection:
        plan = queries.draw_stages(
            connection, orchard.farm_id, first_draw(database, orchard, pruned)
        )[0]
    tiles = 0
    with app.test_request_context():
        words = words_in("en", region="US", units="metric")
        for standard, method in product(standards_of_all_kinds(database, orchard), Method):
            for panel in panels_of(standard, method, standard.stages_in_use, words):
                stage = Stage(panel.key)
                payload = stage_payload(with_stage(plan, stage), standard, method, panel)
                assert set(payload["tiles"]) == {tile.value for tile in panel.tiles}
                tiles += len(payload["tiles"])
                for tile in payload["tiles"].values():
                    assert {tile["result"]} == results_of(tile, payload, standard, method, stage)
                check_missed(payload, standard, method, stage)
    assert tiles > 500


def first_draw(database, orchard, pruned) -> int:
    prepare_lots(database, orchard.supervisor, pruned.lot_ids[:1], new_seed=lambda: 7, now=NOW)
    return draws(database)[0].id


def with_stage(plan, stage):
    return type(plan)(plan.draw_id, stage, plan.plan, plan.producer_risk, plan.consumer_risk)


def results_of(tile, payload, standard, method, stage) -> set:
    answer = tile["answer"]
    if answer["tap"] == "fault":
        variants = [answer | {"faults": [fault]} for fault in payload["faults"]]
        variants.append(answer | {"faults": list(payload["faults"])})
    else:
        variants = [answer]
    return {
        score_tree(
            standard, read_answers({"stages": {stage: variant}}), method=method, stages=(stage,)
        )
        .stages[stage]
        .result
        for variant in variants
    }


def check_missed(payload, standard, method, stage) -> None:
    for missed in Missed:
        score = score_tree(
            standard, read_answers({"missed": missed}), method=method, stages=(stage,)
        ).stages[stage]
        kept = payload["missed"][missed]
        if kept is None:
            # A side missed leaves what is judged on the whole tree to be answered.
            assert score.result == "not_scored"
        else:
            assert (kept["result"], tuple(kept["faults"])) == (score.result, score.faults)


def test_a_wrong_result_in_a_package_would_be_found(app, database, orchard, pruned):
    draw_id = first_draw(database, orchard, pruned)
    with database.read() as connection:
        plan = queries.draw_stages(connection, orchard.farm_id, draw_id)[0]
        version = standard_queries.standard_by_id(connection, orchard.farm_id, orchard.standard_id)
    standard = standards.standard_of(version)
    with app.test_request_context():
        words = words_in("en", region="US", units="metric")
        panel = panels_of(standard, Method.LADDER, (Stage.TOP,), words)[0]
        payload = stage_payload(plan, standard, Method.LADDER, panel)
    planted = payload["tiles"]["right"] | {"result": "not_due"}

    found = results_of(planted, payload, standard, Method.LADDER, Stage.TOP)
    assert {planted["result"]} != found


def test_a_package_can_be_made_again_from_what_is_stored(app, client, database, orchard, pruned):
    taken = prepare(client, pruned.lot_ids[:1])["prepared"][0]
    with app.test_request_context():
        again = package(prepared_lots(database, orchard.supervisor)[0], farm(), NOW)
        assert json.loads(app.json.dumps(again)) == taken


# --- the office's pages --------------------------------------------------------------------------


def test_the_lots_page_says_that_it_was_drawn_ahead(client, supervisor, pruned):
    lot_id = pruned.lot_ids[0]
    assert "Drawn ahead" not in supervisor.get(f"/lots/{lot_id}").text
    prepare(client, [lot_id])
    page = read_page(supervisor.get(f"/lots/{lot_id}"))

    assert "Drawn ahead" in page.text
    assert "Somebody else audits this lot" not in page.text
    assert supervisor.post(f"/lots/{lot_id}/audit", data={"client_id": "x" * 8}).status_code == 302


def test_a_lot_that_is_only_drawn_still_waits_on_today(client, supervisor, pruned):
    before = read_page(supervisor.get("/")).links
    prepare(client)
    page = read_page(supervisor.get("/"))

    links = [f"/lots/{lot_id}" for lot_id in pruned.lot_ids]
    assert set(links) <= set(before)
    assert set(links) <= set(page.links)
