"""A lot from its plan to its verdict, as a supervisor meets it on the pages."""

import re
from itertools import pairwise
from uuid import uuid4

import pytest
import sqlalchemy as sa

from audits.services import auditing, farms, standards
from audits.services.lots import view_lot
from audits.services.start_checks import begin_start_check
from audits.storage.queries import standards as standard_queries
from audits.storage.tables import audit, draw, orchard_row, planting, tree_score
from audits.vocabulary import Fault, LotState, PlantingKind, Role, Stage
from tests.orchard import TREES_IN_ROW, plant_orchard
from tests.row_audit import (
    AUDITED,
    PRUNED_FROM,
    assign_halves,
    audited,
    begin,
    fault,
    first_trees,
    prune,
    walk,
)
from tests.web.pages import read_page

ALL_RIGHT = {"top": "right", "limbs": "2", "columns": "right", "heading": "right", "save": "1"}
TOO_HIGH = ALL_RIGHT | {"top": "fault", "top_faults": "high"}


def entry(**changes) -> dict:
    return ALL_RIGHT | {"client_id": str(uuid4())} | changes


def count(database, table) -> int:
    with database.read() as connection:
        return connection.scalar(sa.select(sa.func.count()).select_from(table))


@pytest.fixture
def lot_id(database, orchard) -> int:
    return prune(database, orchard).lot_ids[0]


@pytest.fixture
def audit_id(database, orchard, lot_id) -> int:
    return begin(database, orchard, lot_id)


@pytest.fixture
def tree_url(database, orchard, audit_id):
    """The address of the nth tree of the walk, counted from 1."""
    trees = auditing.view_audit(database, orchard.supervisor, audit_id).walk
    return lambda number: f"/audits/{audit_id}/trees/{trees[number - 1].id}"


def view_of(database, orchard, audit_id):
    return auditing.view_audit(database, orchard.supervisor, audit_id)


def score_to_the_end(client, audit_id, form_of=lambda _number: ALL_RIGHT) -> int:
    """Answer tree after tree the way a browser does; return how many it took."""
    for number in range(1, 100):
        answer = client.get(f"/audits/{audit_id}")
        if answer.status_code == 200:
            return number - 1
        client.get(answer.location)
        posted = client.post(answer.location, data=form_of(number) | {"client_id": str(uuid4())})
        assert posted.status_code == 302, read_page(posted).text
    raise AssertionError("the audit never ends")


class TestPlan:
    def test_it_says_what_is_looked_at_what_is_allowed_and_the_risks(self, supervisor, lot_id):
        page = read_page(supervisor.get(f"/lots/{lot_id}"))
        assert page.headings == ["Row 1"]
        assert "At most 33 of 310 trees are looked at, drawn by chance; about 22 where" in page.text
        assert page.text.count("up to 2 bad trees of 20, else up to 4 of 33") == len(Stage)
        assert "goes back by chance in at most 5 % of cases" in page.text
        assert "25 % faulty trees passes in at most 10 %" in page.text

    def test_a_half_days_lot_is_named_by_its_rows(self, database, orchard, supervisor):
        lot = prune(database, orchard, rows=3, lot_by="half_day").lot_ids[0]
        page = read_page(supervisor.get(f"/lots/{lot}"))
        assert page.headings == ["Rows 1, 2, 3"]
        assert "of 930 trees are looked at" in page.text

    def test_of_a_tiny_lot_every_tree_is_looked_at(self, database, orchard, supervisor, lot_id):
        farms.add_planting(
            database,
            orchard.supervisor,
            orchard.row_ids[0],
            first_position=4,
            last_position=TREES_IN_ROW,
            kind=PlantingKind.REPLANT,
            since=PRUNED_FROM.date(),
        )
        text = read_page(supervisor.get(f"/lots/{lot_id}")).text
        assert "All 3 trees of this lot are looked at." in text
        assert "accepted without a bad tree among 3" in text

    def test_looking_at_the_plan_draws_nothing(self, database, supervisor, lot_id):
        supervisor.get(f"/lots/{lot_id}")
        assert count(database, draw) == 0

    def test_beginning_leads_to_the_first_tree(self, database, orchard, supervisor, lot_id):
        answer = supervisor.post(f"/lots/{lot_id}/audit", data={"client_id": str(uuid4())})
        page = read_page(supervisor.get(answer.location, follow_redirects=True))
        assert page.headings == ["Tree 1 of 20"]
        lot = view_lot(database, orchard.supervisor, lot_id)
        assert lot.lot.state is LotState.IN_AUDIT

    def test_beginning_keeps_a_seed_nobody_can_guess(self, database, supervisor, orchard):
        seeds = set()
        for lot in prune(database, orchard, rows=3).lot_ids:
            supervisor.post(f"/lots/{lot}/audit", data={"client_id": str(uuid4())})
            line = view_lot(database, orchard.supervisor, lot).draws[0]
            seeds.add(int(line.draw.seed))
        assert len(seeds) == 3
        assert max(seeds) > 2**48

    def test_beginning_twice_leads_to_the_same_audit(self, database, supervisor, lot_id):
        data = {"client_id": str(uuid4())}
        answers = [supervisor.post(f"/lots/{lot_id}/audit", data=data) for _ in range(3)]
        assert len({answer.location for answer in answers}) == 1
        assert count(database, audit) == 1

    def test_an_open_audit_is_gone_on_with(self, supervisor, audit_id, lot_id):
        page = read_page(supervisor.get(f"/lots/{lot_id}"))
        assert "Go on with the audit" in page.text
        assert f"/audits/{audit_id}" in page.links

    def test_somebody_elses_audit_can_be_joined(self, database, owner, audit_id, lot_id):
        assert "Somebody else audits this lot" in read_page(owner.get(f"/lots/{lot_id}")).text
        answer = owner.post(f"/lots/{lot_id}/audit", data={"client_id": str(uuid4())})
        assert answer.location != f"/audits/{audit_id}"
        assert (count(database, audit), count(database, draw)) == (2, 1)

    def test_a_page_without_its_id_is_refused_with_a_sentence(self, database, supervisor, lot_id):
        answer = supervisor.post(f"/lots/{lot_id}/audit", follow_redirects=True)
        assert "This page is not complete. Load it again." in read_page(answer).text
        assert count(database, audit) == 0

    def test_a_lot_that_is_closed_says_so(self, database, orchard, supervisor, lot_id):
        audited(database, orchard, lot_id)
        answer = supervisor.post(
            f"/lots/{lot_id}/audit", data={"client_id": str(uuid4())}, follow_redirects=True
        )
        assert "This lot is not waiting for an audit." in read_page(answer).text

    def test_the_history_names_draws_seeds_and_verdicts(
        self, database, orchard, supervisor, lot_id
    ):
        audited(database, orchard, lot_id, first_trees(10, top=fault(Fault.HIGH)))
        text = read_page(supervisor.get(f"/lots/{lot_id}")).text
        for part in (
            "Pruned",
            "Trees drawn",
            "Seed 1",
            "Verdict",
            "Not accepted",
            "Rework ordered",
        ):
            assert part in text
        assert "Record first that the rework of this lot is done." in text


class TestDevice:
    def test_a_browser_keeps_its_id_and_counts_its_entries(
        self, database, supervisor, lot_id, orchard
    ):
        supervisor.post(f"/lots/{lot_id}/audit", data={"client_id": str(uuid4())})
        device = supervisor.get_cookie("device")
        assert device.http_only
        assert device.same_site == "Lax"
        assert device.max_age == 2 * 365 * 24 * 3600
        view = view_of(database, orchard, 1)
        assert view.book.audit.device == device.value
        for tree in view.walk[:3]:
            supervisor.post(f"/audits/1/trees/{tree.id}", data=entry())
        with database.read() as connection:
            kept = connection.execute(
                sa.select(tree_score.c.device, tree_score.c.device_counter).order_by(
                    tree_score.c.scoring_order
                )
            ).all()
        assert kept == [(device.value, 2), (device.value, 3), (device.value, 4)]

    def test_a_spoilt_cookie_is_replaced(self, supervisor, lot_id):
        supervisor.set_cookie("device", "x" * 300)
        supervisor.set_cookie("entries", "many")
        supervisor.post(f"/lots/{lot_id}/audit", data={"client_id": str(uuid4())})
        assert len(supervisor.get_cookie("device").value) == 36
        assert supervisor.get_cookie("entries").value == "1"


class TestTree:
    def test_it_says_where_the_tree_stands_and_what_is_allowed(
        self, database, orchard, supervisor, audit_id, tree_url
    ):
        page = read_page(supervisor.get(tree_url(1)))
        first = view_of(database, orchard, audit_id).walk[0]
        panel, tree = divmod(first.position - 1, 10)
        assert f"Row 1, panel {panel + 1}, tree {tree + 1}" in page.text
        assert "left side" in page.text
        assert "out from the start (north)" in page.text
        assert "Carry on" in page.text
        assert page.text.count("0 faults, up to 4 allowed") == len(Stage)

    def test_every_stage_has_its_answers(self, supervisor, tree_url):
        answer = supervisor.get(tree_url(1)).text
        for name in ("top", "limbs", "columns", "heading"):
            assert len(re.findall(f'type="radio" name="{name}"', answer)) == 3
        assert 'name="limbs" value="2"' in answer
        assert 'name="limbs" value="fewer_none_left"' in answer

    def test_the_next_tree_follows(self, supervisor, tree_url):
        answer = supervisor.post(tree_url(1), data=entry())
        assert answer.location == tree_url(2)
        page = read_page(supervisor.get(tree_url(2)))
        assert "1 tree kept" in page.text

    def test_without_posts_the_position_is_given(
        self, database, orchard, supervisor, audit_id, tree_url
    ):
        with database.write() as connection:
            connection.execute(orchard_row.update().values(trees_per_panel=None))
        first, second = view_of(database, orchard, audit_id).walk[:2]
        assert f"Row 1, tree {first.position}" in read_page(supervisor.get(tree_url(1))).text
        far = second.position - first.position
        assert f"out: {far} tree" in read_page(supervisor.get(tree_url(2))).text

    def test_the_second_wave_comes_back(self, database, orchard, supervisor, audit_id, tree_url):
        waves = [tree.wave for tree in view_of(database, orchard, audit_id).walk]
        turn = waves.index(2) + 1
        page = read_page(supervisor.get(tree_url(turn)))
        assert "back to the start (north)" in page.text
        assert page.headings == [f"Tree {turn} of {len(waves)}"]
        assert "back: " in read_page(supervisor.get(tree_url(turn + 1))).text

    def test_a_tree_behind_the_auditor_asks_to_turn_round(
        self, database, orchard, supervisor, audit_id
    ):
        """A reserve tree that the walk has passed comes next."""
        walk(database, orchard, audit_id, most=12)
        for _ in range(6):
            view = view_of(database, orchard, audit_id)
            url = f"/audits/{audit_id}/trees/{view.next_tree.id}"
            supervisor.post(url, data={"client_id": str(uuid4()), "not_a_tree": "dead"})
        walk_now = view_of(database, orchard, audit_id).walk
        words = [
            read_page(supervisor.get(f"/audits/{audit_id}/trees/{tree.id}")).text
            for tree in walk_now
        ]
        behind = [
            before.wave == tree.wave == 1 and tree.position < before.position
            for before, tree in pairwise(walk_now)
        ]
        assert any(behind)
        assert [("turn round: " in text) for text in words[1:]] == behind

    def test_a_farm_reads_its_own_word_for_a_row(self, database, sign_in, audit_id, tree_url):
        with database.write() as connection:
            connection.execute(sa.text("update farm set row_word = 'hilera'"))
        assert "Hilera 1, " in read_page(sign_in(language="es").get(tree_url(1))).text
        assert "Row 1, " in read_page(sign_in(language="en").get(tree_url(1))).text
        assert audit_id

    @pytest.mark.parametrize(
        ("changes", "field", "sentence"),
        [
            ({"top": ""}, "top", "Tap an answer."),
            ({"top": "perhaps"}, "top", "Tap one of the answers."),
            ({"limbs": "9"}, "limbs", "Tap one of the answers."),
            ({"limbs": "nothing_due"}, "limbs", "Say how many limbs came out"),
            ({"columns": "fault"}, "columns", "Name the fault."),
            ({"columns": "fewer_none_left"}, "columns", "for limbs only"),
            ({"top_height": "tall"}, "top_height", 'Cannot read "tall" as a length.'),
            ({"top_height": "900 ft"}, "top_height", "too long"),
            ({"top_height": "12 ft"}, "top", "Put one of them right."),
            ({"limbs_cut": "1; x"}, "limbs_cut", "Cannot read"),
            ({"limbs_cut": "1"}, "limbs_standing", "Write 0 if there is none."),
            ({"columns_looked_at": "99", "columns_single": "1"}, "columns_looked_at", "0 to 12"),
            ({"columns_looked_at": "4", "columns_single": "5"}, "columns", "more single columns"),
            (
                {"heading_diameters": "1/4; 1/4; 1/4", "heading_left_long": "3"},
                "heading",
                "no more than 5",
            ),
        ],
    )
    def test_what_cannot_be_taken_is_said_at_its_place_and_nothing_is_kept(
        self, database, supervisor, tree_url, changes, field, sentence
    ):
        answer = supervisor.post(tree_url(1), data=entry(**changes))
        page = read_page(answer)
        assert answer.status_code == 422
        assert sentence in page.problems[field]
        assert page.headings == ["Tree 1 of 20"]
        assert count(database, tree_score) == 0

    def test_what_was_entered_stays_in_a_form_that_is_refused(self, supervisor, tree_url):
        page = read_page(supervisor.post(tree_url(1), data=entry(limbs="", top_height="tall")))
        assert page.values["columns"] == "right"
        assert page.values["top_height"] == "tall"

    def test_an_incomplete_page_is_refused_with_a_sentence(self, database, supervisor, tree_url):
        answer = supervisor.post(tree_url(1), data=ALL_RIGHT)
        assert answer.status_code == 422
        assert "This page is not complete. Load it again." in answer.text
        assert count(database, tree_score) == 0

    def test_sending_a_tree_twice_keeps_it_once(self, database, supervisor, tree_url):
        data = entry()
        answers = [supervisor.post(tree_url(1), data=data) for _ in range(2)]
        assert [answer.location for answer in answers] == [tree_url(2)] * 2
        assert count(database, tree_score) == 1

    def test_an_id_used_for_another_tree_gets_a_sentence_and_can_be_sent_again(
        self, database, supervisor, tree_url
    ):
        data = entry()
        supervisor.post(tree_url(1), data=data)
        answer = supervisor.post(tree_url(2), data=data | TOO_HIGH)
        assert answer.status_code == 409
        assert "This page was used for another tree already." in read_page(answer).text
        assert count(database, tree_score) == 1
        # The page that says so carries the answers and an id of its own.
        fresh = re.search('name="client_id" value="([^"]+)"', answer.text).group(1)
        assert fresh != data["client_id"]
        assert 'name="top_faults" value="high" checked' in answer.text
        assert supervisor.post(tree_url(2), data=TOO_HIGH | {"client_id": fresh}).location == (
            tree_url(3)
        )

    def test_posting_again_edits(self, database, orchard, supervisor, audit_id, tree_url):
        supervisor.post(tree_url(1), data=entry())
        page = read_page(supervisor.get(tree_url(1)))
        assert (page.values["top"], page.values["limbs"]) == ("right", "2")
        supervisor.post(tree_url(1), data=TOO_HIGH | {"client_id": str(uuid4())})
        view = view_of(database, orchard, audit_id)
        assert view.standings[0].tally.nonconforming == 1
        assert len(view.answers) == 1

    def test_undo_opens_the_last_tree(self, supervisor, tree_url):
        supervisor.post(tree_url(1), data=entry())
        assert tree_url(1) in read_page(supervisor.get(tree_url(2))).links
        assert "Undo" not in read_page(supervisor.get(tree_url(1))).text

    def test_the_last_tree_can_be_taken_back(
        self, database, orchard, supervisor, audit_id, tree_url
    ):
        supervisor.post(tree_url(1), data=entry())
        answer = supervisor.post(f"/audits/{audit_id}/undo")
        assert answer.location == tree_url(1)
        assert view_of(database, orchard, audit_id).answers == {}
        # Nothing is left to take back: the audit simply goes on.
        assert supervisor.post(f"/audits/{audit_id}/undo").location == f"/audits/{audit_id}"

    def test_a_missed_tree_is_one_tap(self, database, orchard, supervisor, audit_id, tree_url):
        answer = supervisor.post(tree_url(1), data={"client_id": str(uuid4()), "missed": "tree"})
        assert answer.location == tree_url(2)
        tallies = [s.tally.nonconforming for s in view_of(database, orchard, audit_id).standings]
        assert tallies == [1, 1, 1, 1]

    def test_a_missed_side_asks_for_the_whole_tree_and_then_is_kept(
        self, database, orchard, supervisor, audit_id, tree_url
    ):
        refused = supervisor.post(tree_url(1), data={"client_id": str(uuid4()), "missed": "side"})
        page = read_page(refused)
        assert refused.status_code == 422
        assert set(page.problems) == {"top", "limbs"}
        assert 'name="kept_missed" value="side"' in refused.text
        kept = entry(kept_missed="side", columns="", heading="")
        assert supervisor.post(tree_url(1), data=kept).location == tree_url(2)
        tallies = [s.tally.nonconforming for s in view_of(database, orchard, audit_id).standings]
        assert tallies == [0, 0, 1, 1]

    def test_a_tree_missed_by_mistake_is_corrected_by_answering_it(
        self, database, orchard, supervisor, audit_id, tree_url
    ):
        supervisor.post(tree_url(1), data={"client_id": str(uuid4()), "missed": "tree"})
        assert 'name="kept_missed" value="tree"' in supervisor.get(tree_url(1)).text
        supervisor.post(tree_url(1), data=entry(kept_missed="tree"))
        tallies = [s.tally.nonconforming for s in view_of(database, orchard, audit_id).standings]
        assert tallies == [0, 0, 0, 0]

    def test_measures_are_read_and_shown_again(self, supervisor, tree_url):
        supervisor.post(
            tree_url(1),
            data=entry(
                top="", top_height="9 ft 11 in", limbs="", limbs_cut="3/4; 1", limbs_standing="0"
            ),
        )
        values = read_page(supervisor.get(tree_url(1))).values
        assert values["top_height"] == "9 ft 11 in"
        assert values["limbs_cut"] == "3/4 in; 1 in"
        assert values["limbs_standing"] == "0"


class TestNotATree:
    def replace(self, client, url, kind="dead"):
        return client.post(url, data={"client_id": str(uuid4()), "not_a_tree": kind})

    def test_the_map_is_put_right_and_a_reserve_tree_comes(
        self, database, orchard, supervisor, audit_id, tree_url
    ):
        plantings = count(database, planting)
        gone = view_of(database, orchard, audit_id).walk[0]
        answer = self.replace(supervisor, tree_url(1))
        page = read_page(supervisor.get(answer.location, follow_redirects=True))
        assert "The map is put right. Instead comes: Row 1, panel " in page.text
        assert count(database, planting) == plantings + 1
        view = view_of(database, orchard, audit_id)
        assert gone.id not in {tree.id for tree in view.walk}
        assert supervisor.get(tree_url(1)).status_code == 404

    def test_every_kind_but_a_bearing_tree_is_offered(self, supervisor, tree_url):
        offered = re.findall('name="not_a_tree" value="([^"]+)"', supervisor.get(tree_url(1)).text)
        assert offered == ["replant", "pollinizer", "other_cultivar", "dead", "missing"]

    @pytest.mark.parametrize("kind", ["bearing", "a goat", ""])
    def test_anything_else_is_refused_with_a_sentence(self, database, supervisor, tree_url, kind):
        plantings = count(database, planting)
        answer = self.replace(supervisor, tree_url(1), kind)
        if answer.status_code == 302:
            answer = supervisor.get(answer.location)
        assert "Say what stands there instead." in answer.text
        assert count(database, planting) == plantings

    def test_when_the_reserve_is_used_up_a_new_audit_is_begun(
        self, database, orchard, supervisor, audit_id, lot_id
    ):
        while True:
            view = view_of(database, orchard, audit_id)
            url = f"/audits/{audit_id}/trees/{view.next_tree.id}"
            answer = self.replace(supervisor, url)
            if answer.location == f"/lots/{lot_id}":
                break
        page = read_page(supervisor.get(answer.location))
        assert "the reserve is used up" in page.text
        assert "Begin the audit" in page.text
        assert "Audit given up" in page.text
        assert "decides nothing" in read_page(supervisor.get(f"/audits/{audit_id}")).text
        again = supervisor.post(f"/lots/{lot_id}/audit", data={"client_id": str(uuid4())})
        assert again.location != f"/audits/{audit_id}"


class TestVerdict:
    def test_a_good_lot_is_accepted_after_as_few_trees_as_make_it_certain(
        self, database, orchard, supervisor, audit_id, lot_id
    ):
        assert score_to_the_end(supervisor, audit_id) == 18
        page = read_page(supervisor.get(f"/audits/{audit_id}"))
        assert "Stop" in page.text
        assert "All 4 stages are accepted." in page.text
        assert "Give the verdict" in page.text
        sealed = supervisor.post(f"/audits/{audit_id}/seal", follow_redirects=True)
        assert "The verdict is given." in read_page(sealed).text
        assert "Give the verdict" not in sealed.text
        assert view_lot(database, orchard.supervisor, lot_id).lot.state is LotState.ACCEPTED

    def test_a_bad_lot_goes_back_is_mended_and_accepted_by_its_re_audit(
        self, database, orchard, supervisor, audit_id, lot_id
    ):
        trees = score_to_the_end(supervisor, audit_id, lambda n: TOO_HIGH if n <= 5 else ALL_RIGHT)
        assert trees == 18
        page = read_page(supervisor.get(f"/audits/{audit_id}"))
        assert "Top: 5 of 18 trees too high; up to 4 of 20 allowed." in page.text
        sealed = read_page(supervisor.post(f"/audits/{audit_id}/seal", follow_redirects=True))
        assert "/rework/1" in sealed.links

        order = read_page(supervisor.get("/rework/1"))
        assert "The crew: Too high" in order.text
        assert "Row 1: the whole row" in order.text
        mended = supervisor.post("/rework/1", data=rework_entry(orchard), follow_redirects=True)
        assert "The lot waits for its re-audit." in read_page(mended).text

        plan = read_page(supervisor.get(f"/lots/{lot_id}"))
        assert "Re-audit" in plan.text
        assert "Only the stages that went back are looked at" in plan.text
        begun = supervisor.post(f"/lots/{lot_id}/audit", data={"client_id": str(uuid4())})
        again = int(begun.location.rsplit("/", 1)[1])
        first = supervisor.get(begun.location, follow_redirects=True)
        assert "count the cuts of both passes" in first.text
        assert 'name="limbs"' not in first.text
        score_to_the_end(supervisor, again, lambda _: {"top": "right"})
        supervisor.post(f"/audits/{again}/seal")
        assert view_lot(database, orchard.supervisor, lot_id).lot.state is LotState.ACCEPTED

    def test_while_trees_are_left_the_audit_leads_to_the_next(self, supervisor, audit_id, tree_url):
        supervisor.post(tree_url(1), data=entry())
        assert supervisor.get(f"/audits/{audit_id}").location == tree_url(2)

    def test_all_trees_can_be_seen_at_any_time(self, supervisor, audit_id, tree_url):
        supervisor.post(tree_url(1), data=TOO_HIGH | {"client_id": str(uuid4())})
        page = read_page(supervisor.get(f"/audits/{audit_id}/trees"))
        assert "4 stages of 4 still open." in page.text
        assert "Too high" in page.text
        assert "shared by the crew" in page.text
        assert {tree_url(number) for number in range(1, 31)} <= set(page.links)

    def test_single_person_results_carry_the_name(self, database, orchard, supervisor):
        pruned = prune(database, orchard)
        assign_halves(database, orchard, pruned)
        found = begin(database, orchard, pruned.lot_ids[0])
        walk(database, orchard, found, first_trees(1, top=fault(Fault.HIGH)), most=1)
        assert "W1 Aurelio Barranco" in read_page(supervisor.get(f"/audits/{found}/trees")).text

    def test_the_strip_says_in_words_what_it_shows(self, supervisor, audit_id, tree_url):
        supervisor.post(tree_url(1), data=TOO_HIGH | {"client_id": str(uuid4())})
        text = supervisor.get(f"/audits/{audit_id}/trees").text
        assert "1 tree looked at; 1 with a fault." in text
        assert '<svg xmlns="http://www.w3.org/2000/svg" class="drawing"' in text

    def test_a_stage_still_open_cannot_be_sealed(self, supervisor, audit_id, tree_url):
        supervisor.post(tree_url(1), data=entry())
        answer = supervisor.post(f"/audits/{audit_id}/seal", follow_redirects=True)
        assert "A stage is still open." in answer.text

    def test_after_the_verdict_an_answer_needs_an_amendment(
        self, database, orchard, supervisor, lot_id
    ):
        found = audited(database, orchard, lot_id)
        tree = view_of(database, orchard, found).walk[0]
        url = f"/audits/{found}/trees/{tree.id}"
        assert supervisor.get(url).location == f"{url}/amend"
        answer = supervisor.post(url, data=TOO_HIGH | {"client_id": str(uuid4())})
        assert answer.location == f"/audits/{found}"
        assert "only by an amendment" in read_page(supervisor.get(answer.location)).text
        for path in ("undo", "seal"):
            refused = supervisor.post(f"/audits/{found}/{path}", follow_redirects=True)
            assert "This audit is sealed." in refused.text

    def test_a_lot_with_lasting_faults_only_asks_for_no_cut(
        self, database, orchard, supervisor, lot_id
    ):
        audited(database, orchard, lot_id, first_trees(10, top=fault(Fault.LOW)))
        page = read_page(supervisor.get("/rework/1"))
        assert "Stop and retrain" in page.text
        assert "Not accepted, cannot be mended" in page.text
        assert "The rework is done" not in page.text
        answer = supervisor.post("/rework/1", data=rework_entry(orchard), follow_redirects=True)
        assert "Nothing in this order can be mended." in answer.text


def rework_entry(orchard, **changes) -> dict:
    # On the farm's clock, five hours behind UTC.
    return {
        "crew_id": str(orchard.crew_id),
        "method": "ground",
        "started_at": "2026-01-20T11:15",
        "ended_at": "2026-01-20T11:45",
        "hours": "3.5",
    } | changes


class TestRework:
    @pytest.fixture
    def url(self, database, orchard, lot_id):
        audited(database, orchard, lot_id, first_trees(10, top=fault(Fault.HIGH)))
        return "/rework/1"

    def test_the_form_proposes_the_crew_and_method_of_the_pass(self, supervisor, url, orchard):
        values = read_page(supervisor.get(url)).values
        assert (values["crew_id"], values["method"]) == (str(orchard.crew_id), "ladder")

    @pytest.mark.parametrize(
        ("changes", "field", "sentence"),
        [
            ({"started_at": ""}, "started_at", "Fill in day and time."),
            ({"started_at": "this morning"}, "started_at", "Write day and time as"),
            ({"ended_at": "2026-02-30T10:00"}, "ended_at", "Write day and time as"),
            ({"ended_at": "0026-01-20T11:45"}, "ended_at", "Check the year of this day."),
            ({"ended_at": "2026-01-20T11:00"}, "ended_at", "cannot end before it began"),
            ({"ended_at": "2027-01-20T11:45"}, "ended_at", "still to come"),
            ({"started_at": "2026-01-19T11:15"}, "started_at", "before the pass that it mends"),
            ({"hours": "a few"}, "hours", "Write a number"),
            ({"hours": "0"}, "hours", "more than 0"),
            ({"crew_id": "999"}, "crew_id", ""),
            ({"method": "helicopter"}, "method", ""),
        ],
    )
    def test_bad_values_are_refused_at_their_field(
        self, supervisor, url, orchard, lot_id, changes, field, sentence
    ):
        answer = supervisor.post(url, data=rework_entry(orchard, **changes))
        page = read_page(answer)
        assert answer.status_code == 422
        assert sentence in page.problems[field]
        assert "Record first" in read_page(supervisor.get(f"/lots/{lot_id}")).text

    def test_named_people_get_their_stretch_by_panel_and_tree(self, database, orchard, supervisor):
        pruned = prune(database, orchard)
        assign_halves(database, orchard, pruned)
        audited(database, orchard, pruned.lot_ids[0], first_trees(10, top=fault(Fault.HIGH)))
        text = read_page(supervisor.get("/rework/1")).text
        assert "W1 Aurelio Barranco: Too high" in text
        assert "Row 1: trees 1 to 155 (panel 1, tree 1 to panel 16, tree 5)" in text
        with database.write() as connection:
            connection.execute(orchard_row.update().values(trees_per_panel=None))
        assert "panel" not in read_page(supervisor.get("/rework/1")).text

    def test_it_is_recorded_only_once(self, supervisor, url, orchard):
        supervisor.post(url, data=rework_entry(orchard))
        answer = supervisor.post(url, data=rework_entry(orchard), follow_redirects=True)
        assert "This rework is recorded already." in answer.text
        assert "The rework ended" in read_page(supervisor.get(url)).text

    def test_it_can_be_printed(self, supervisor, url):
        assert any("/print" in link for link in read_page(supervisor.get(url)).links)


class TestAmendment:
    @pytest.fixture
    def found(self, database, orchard, lot_id) -> int:
        return audited(database, orchard, lot_id, first_trees(4, top=fault(Fault.HIGH)))

    @pytest.fixture
    def url(self, database, orchard, found):
        tree = view_of(database, orchard, found).walk[10]
        return f"/audits/{found}/trees/{tree.id}/amend"

    def test_it_shows_the_answers_as_they_are(self, supervisor, url):
        values = read_page(supervisor.get(url)).values
        assert [values[stage] for stage in ("top", "limbs", "columns")] == ["right", "2", "right"]

    def test_old_and_new_stand_side_by_side(self, database, supervisor, url, found):
        data = TOO_HIGH | {"client_id": str(uuid4()), "reason": "Wrong mark on the pole"}
        answer = supervisor.post(url, data=data, follow_redirects=True)
        text = read_page(answer).text
        assert "The amendment is kept." in text
        for part in (
            "Verdict as issued",
            "As amended",
            "4 of 33 trees too high; up to 4 allowed.",
            "5 of 20 trees too high; up to 4 allowed.",
            "Wrong mark on the pole",
            "Top: Right; Limbs: Right",
            "Top: Too high; Limbs: Right",
        ):
            assert part in text
        assert "As amended: Not accepted" in read_page(supervisor.get("/lots/1")).text
        assert "Versions so far" in read_page(supervisor.get(url)).text
        assert count(database, tree_score) == 34
        assert found

    def test_it_needs_a_reason(self, database, supervisor, url):
        answer = supervisor.post(url, data=TOO_HIGH | {"client_id": str(uuid4()), "reason": " "})
        page = read_page(answer)
        assert answer.status_code == 422
        assert page.problems["reason"] == "Say why the score is changed."
        assert page.values["top"] == "fault"
        assert count(database, tree_score) == 33

    def test_reason_and_answers_are_both_looked_at(self, database, supervisor, url):
        answer = supervisor.post(url, data=entry(top="fault"))
        page = read_page(answer)
        assert answer.status_code == 422
        assert page.problems["top"] == "Name the fault."
        assert page.problems["reason"] == "Say why the score is changed."
        assert "Look at the stages again." in page.text
        assert count(database, tree_score) == 33

    def test_an_incomplete_page_is_refused_with_a_sentence(self, supervisor, url):
        answer = supervisor.post(url, data=TOO_HIGH | {"reason": "Wrong mark"})
        assert answer.status_code == 422
        assert "This page is not complete. Load it again." in read_page(answer).text

    def test_an_id_used_for_another_tree_gets_a_sentence(
        self, database, orchard, supervisor, url, found
    ):
        other = view_of(database, orchard, found).walk[11]
        data = TOO_HIGH | {"client_id": str(uuid4()), "reason": "Wrong mark"}
        supervisor.post(url, data=data)
        answer = supervisor.post(
            f"/audits/{found}/trees/{other.id}/amend", data=data, follow_redirects=True
        )
        assert "This page was used for another tree already." in answer.text

    def test_a_missed_tree_can_be_amended_in(self, database, orchard, supervisor, url, found):
        data = entry(missed="tree", reason="Nobody was here")
        assert supervisor.post(url, data=data).status_code == 302
        tallies = [s.tally.nonconforming for s in view_of(database, orchard, found).standings]
        assert tallies == [5, 1, 1, 1]

    def test_an_open_audit_is_entered_again_instead(self, supervisor, audit_id, tree_url):
        supervisor.post(tree_url(1), data=entry())
        assert supervisor.get(f"{tree_url(1)}/amend").location == tree_url(1)
        assert audit_id

    def test_a_tree_that_was_not_scored_has_no_page(self, supervisor, found):
        assert supervisor.get(f"/audits/{found}/trees/99999/amend").status_code == 404


class TestSkippedStages:
    @pytest.fixture
    def lot_id(self, database, orchard):
        with database.read() as connection:
            payload = standard_queries.standard_by_id(
                connection, orchard.farm_id, orchard.standard_id
            ).payload
        standards.write_standard(
            database,
            orchard.supervisor,
            orchard.block_id,
            payload=payload | {"skip_decided": True},
            in_force_from=PRUNED_FROM.date(),
            now=AUDITED,
        )
        return prune(database, orchard).lot_ids[0]

    def test_a_decided_stage_is_shown_decided_and_needs_no_answer(
        self, supervisor, audit_id, tree_url
    ):
        for number in range(1, 6):
            supervisor.post(tree_url(number), data=TOO_HIGH | {"client_id": str(uuid4())})
        sixth = supervisor.get(tree_url(6)).text
        assert 'name="top"' not in sixth
        assert "Not accepted" in sixth
        without_top = {name: value for name, value in entry().items() if name != "top"}
        assert supervisor.post(tree_url(6), data=without_top).location == tree_url(7)
        # What was answered before it was decided can still be corrected, but not taken away.
        assert 'name="top"' in supervisor.get(tree_url(1)).text
        assert supervisor.post(tree_url(1), data=without_top).status_code == 422
        assert audit_id


PATHS = (
    "/lots/{lot}",
    "/audits/{audit}",
    "/audits/{audit}/trees",
    "/audits/{audit}/trees/{tree}",
    "/audits/{audit}/trees/{tree}/amend",
    "/rework/{order}",
)
POSTS = (
    "/lots/{lot}/audit",
    "/audits/{audit}/trees/{tree}",
    "/audits/{audit}/trees/{tree}/amend",
    "/audits/{audit}/undo",
    "/audits/{audit}/seal",
    "/rework/{order}",
)


class TestWhoseItIs:
    @pytest.fixture
    def foreign(self, database):
        """Ids of another farm in the same database."""
        other = plant_orchard(database, AUDITED, name="Cold Spring")
        lots = prune(database, other, rows=2).lot_ids
        lost = audited(database, other, lots[0], first_trees(10, top=fault(Fault.HIGH)))
        order = view_lot(database, other.supervisor, lots[0]).orders[0]
        tree = auditing.view_audit(database, other.supervisor, lost).walk[0]
        return {"lot": lots[0], "audit": lost, "tree": tree.id, "order": order.id}

    @pytest.mark.parametrize("path", PATHS)
    def test_another_farms_pages_do_not_exist(self, supervisor, foreign, path):
        answer = supervisor.get(path.format(**foreign))
        assert answer.status_code == 404
        assert "There is no such" in read_page(answer).text

    @pytest.mark.parametrize("path", POSTS)
    def test_nothing_of_another_farm_can_be_changed(self, database, supervisor, foreign, path):
        scores = count(database, tree_score)
        data = entry(reason="Mine now")
        assert supervisor.post(path.format(**foreign), data=data).status_code == 404
        assert count(database, tree_score) == scores

    @pytest.mark.parametrize("path", PATHS)
    def test_workers_are_refused(self, database, orchard, sign_in, lot_id, path):
        lost = audited(database, orchard, lot_id, first_trees(10, top=fault(Fault.HIGH)))
        tree = view_of(database, orchard, lost).walk[0]
        ids = {"lot": lot_id, "audit": lost, "tree": tree.id, "order": 1}
        assert sign_in(Role.WORKER).get(path.format(**ids)).status_code == 403

    def test_what_does_not_exist_is_not_found(self, supervisor, orchard):
        missing = {"lot": 9, "audit": 9, "tree": 9, "order": 9}
        for path in PATHS:
            assert supervisor.get(path.format(**missing)).status_code == 404
        assert orchard

    def test_a_start_check_has_no_verdict(self, database, orchard, supervisor):
        pruned = prune(database, orchard)
        checked = begin_start_check(
            database,
            orchard.supervisor,
            pruned.pass_id,
            worker_id=orchard.worker_ids[0],
            client_id=str(uuid4()),
            device=auditing.Device("desk"),
            now=AUDITED,
        )
        assert supervisor.get(f"/audits/{checked}").status_code == 404
        assert supervisor.get(f"/audits/{checked}/trees/1").status_code == 404


class TestEveryPage:
    @pytest.fixture
    def states(self, database, orchard):
        """Addresses of the area's pages in each of their states."""
        lots = prune(database, orchard, rows=5).lot_ids
        lost = audited(
            database,
            orchard,
            lots[1],
            first_trees(10, top=fault(Fault.HIGH, Fault.LOW), columns=fault(Fault.FORK)),
        )
        accepted = audited(database, orchard, lots[2])
        under_way = begin(database, orchard, lots[3])
        view = walk(database, orchard, under_way, most=3)
        decided = begin(database, orchard, lots[4])
        walk(database, orchard, decided)
        trees = view_of(database, orchard, lost).walk
        return [
            *(f"/lots/{lot}" for lot in lots),
            *(f"/audits/{found}/trees" for found in (lost, accepted, under_way, decided)),
            f"/audits/{under_way}/trees/{view.walk[0].id}",
            f"/audits/{under_way}/trees/{view.walk[5].id}",
            f"/audits/{lost}/trees/{trees[0].id}/amend",
            "/rework/1",
        ]

    @pytest.mark.parametrize("language", ["en", "es"])
    def test_it_opens_with_one_heading_and_labelled_entries(self, sign_in, states, language):
        client = sign_in(language=language)
        for path in states:
            answer = client.get(path)
            page = read_page(answer)
            assert answer.status_code == 200, path
            assert f'<html lang="{language}"' in answer.text
            assert len(page.headings) == 1, path
            assert page.title.startswith(page.headings[0]), path
            # Tiles are labelled by the label around them.
            assert not [name for name in page.unlabelled if name], path
