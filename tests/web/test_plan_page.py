"""How sure a lot's plan is: the page by which a supervisor chooses a plan by its consequences."""

import re
from uuid import uuid4

import pytest
import sqlalchemy as sa
from scipy import stats

from audits.sampling import WavePlan
from audits.sampling.stored import read_plan
from audits.services import standards
from audits.storage.queries import standards as standard_queries
from audits.storage.tables import draw, draw_stage
from audits.vocabulary import LotState, Role, Stage
from tests.orchard import plant_orchard
from tests.row_audit import audited, prune
from tests.web.conftest import NOW
from tests.web.pages import read_page


@pytest.fixture
def lot_id(database, orchard) -> int:
    return prune(database, orchard).lot_ids[0]


@pytest.fixture
def rewrite(database, orchard):
    """Change the sampling rule of the standard, before any pass has begun under it."""

    def rewritten(changes=None, **sampling):
        with database.read() as connection:
            record = standard_queries.standard_by_number(
                connection, orchard.farm_id, orchard.block_id, 1
            )
        payload = standards.standard_of(record).model_dump(mode="json")
        payload["sampling"] |= sampling
        for stage, values in (changes or {}).items():
            payload[stage] |= values
        standards.edit_standard(
            database,
            orchard.supervisor,
            record.id,
            payload=payload,
            in_force_from=record.in_force_from,
        )
        return prune(database, orchard).lot_ids[0]

    return rewritten


def plan_page(client, lot_id, query=""):
    answer = client.get(f"/lots/{lot_id}/plan{query}")
    assert answer.status_code == 200, answer.text
    return read_page(answer)


def drawn_plans(database) -> list[WavePlan]:
    with database.read() as connection:
        return [read_plan(row) for row in connection.scalars(sa.select(draw_stage.c.plan))]


class TestPage:
    def test_it_is_linked_from_the_lot(self, supervisor, lot_id):
        assert f"/lots/{lot_id}/plan" in read_page(supervisor.get(f"/lots/{lot_id}")).links

    def test_it_says_how_often_a_good_and_a_bad_row_pass(self, supervisor, lot_id):
        page = plan_page(supervisor, lot_id)
        assert page.headings == ["How sure is this plan?"]
        said = re.search(
            r"A row with 5 in 100 bad trees passes (\d+) times in 100; "
            r"one with 25 in 100 passes (\d+) times\.",
            page.text,
        )
        # Waves (20, 33), accepted with 2 or 4, turned down with 5: both counts by scipy.
        first = [stats.hypergeom(310, bad, 20) for bad in (15, 78)]
        second = [
            sum(
                law.pmf(seen) * stats.hypergeom(290, bad - seen, 13).cdf(4 - seen)
                for seen in (3, 4)
            )
            for law, bad in zip(first, (15, 78), strict=True)
        ]
        chances = [law.cdf(2) + later for law, later in zip(first, second, strict=True)]
        assert [int(number) for number in said.groups()] == [round(100 * c) for c in chances]

    def test_it_tells_the_walk_wave_by_wave(self, supervisor, lot_id):
        text = plan_page(supervisor, lot_id).text
        for sentence in (
            "Walk out: 20 trees.",
            "A stage with up to 2 bad trees by then is accepted, one with 5 goes back.",
            "Else walk back: 13 more trees, up to 4 of 33 allowed.",
        ):
            assert sentence in text

    def test_it_tells_trees_minutes_and_risk_of_the_whole_lot(self, supervisor, lot_id):
        text = plan_page(supervisor, lot_id).text
        # The name of a figure stands before it; the page's style turns them round.
        assert "trees, on average 22 until every stage is decided" in text
        assert "trees at most 33 of 310" in text
        assert "minutes, on average 22 at 60 seconds a tree" in text
        assert re.search(r"Length of the walk about (5\d0|6[01]0) trees, out and back", text)
        assert "A row that is good in every stage goes back 4 times in 100" in text
        assert "The standard lets a good lot go back at most 5 times in 100" in text

    def test_it_tells_how_far_it_is(self, supervisor, rewrite):
        # A row of 310 trees: out to its far end and back, and once more for a third wave.
        length = re.search(
            r"about ([\d,]+) to ([\d,]+) trees, out and back",
            plan_page(supervisor, rewrite({"top": {"measured": True, "by_mean": True}})).text,
        )
        least, most = (int(number.replace(",", "")) for number in length.groups())
        assert 500 <= least <= 620
        assert 1000 <= most <= 1240

    def test_the_curve_has_words_and_figures_for_those_who_cannot_see_it(self, supervisor, lot_id):
        answer = supervisor.get(f"/lots/{lot_id}/plan").text
        drawing = re.search(r"<svg[^>]*role=\"img\".*?</svg>", answer, re.DOTALL)[0]
        assert "<title" in drawing
        assert "A row with 5 in 100 bad trees passes" in drawing
        figures = plan_page(supervisor, lot_id).text
        assert "Bad trees of 310" in figures

    def test_alike_stages_share_a_curve_and_others_have_their_own(self, supervisor, rewrite):
        promise = {"acceptable_fraction": 0.02, "rejectable_fraction": 0.2}
        lot = rewrite({"limbs": {"promise": promise}})
        text = plan_page(supervisor, lot).text
        assert text.count("How often it passes") >= 2
        assert "A row with 2 in 100 bad trees passes" in text
        assert "A row with 5 in 100 bad trees passes" in text

    def test_a_half_days_lot_is_no_row(self, database, orchard, supervisor):
        lot = prune(database, orchard, rows=3, lot_by="half_day").lot_ids[0]
        assert "A lot with 5 in 100 bad trees passes" in plan_page(supervisor, lot).text

    def test_a_caution_stands_beside_the_chances(self, supervisor, lot_id):
        answer = supervisor.get(f"/lots/{lot_id}/plan").text
        caution = re.search(r'class="plan-caution">.*?<span>(.*?)</span>', answer, re.DOTALL)[1]
        assert "bad trees" in caution

    @pytest.mark.parametrize("method", ["single", "double"])
    def test_other_plans_of_our_own_are_told_too(self, supervisor, rewrite, method):
        text = plan_page(supervisor, rewrite(method=method)).text
        start = {"single": "Walk a loop: 30 trees", "double": "Walk out: 16 trees."}[method]
        assert start in text
        assert "accepted with up to" in read_page(supervisor.get("/lots/1")).text

    def test_a_measured_stage_says_at_least_and_at_most(self, supervisor, rewrite):
        text = plan_page(supervisor, rewrite({"top": {"measured": True, "by_mean": True}})).text
        assert "passes at least" in text
        assert "then mean and spread decide" in text
        assert "goes back at most" in text

    def test_it_is_for_crew_leads_of_this_farm(self, sign_in, database, supervisor, lot_id):
        assert sign_in(Role.WORKER).get(f"/lots/{lot_id}/plan").status_code == 403
        assert sign_in(Role.OWNER).get(f"/lots/{lot_id}/plan").status_code == 200
        other = plant_orchard(database, NOW, name="Elsewhere")
        elsewhere = prune(database, other).lot_ids[0]
        assert supervisor.get(f"/lots/{elsewhere}/plan").status_code == 404

    def test_looking_draws_nothing(self, database, supervisor, lot_id):
        plan_page(supervisor, lot_id, "?strictness=stricter")
        with database.read() as connection:
            assert connection.scalar(sa.select(sa.func.count()).select_from(draw)) == 0


class TestTables:
    def test_it_names_table_letter_and_inspection_and_warns_of_the_limit(self, supervisor, rewrite):
        text = plan_page(supervisor, rewrite(method="table")).text
        # MIL-STD-105E: 310 trees at level II are letter H, 50 trees; AQL 6.5 accepts 7.
        assert "Table II-A of MIL-STD-105E, normal inspection" in text
        assert "code letter H" in text
        assert "Walk a loop: 50 trees" in text
        assert "A stage with up to 7 bad trees by then is accepted, one with 8 goes back." in text
        assert "The AQL is no acceptable fraction. At the AQL of 6.5 in 100 it passes" in text

    def test_it_offers_no_stricter_and_promises_no_risk(self, supervisor, rewrite):
        page = plan_page(supervisor, rewrite(method="table"))
        assert "Stricter" not in page.text
        assert "The standard lets a good lot go back" not in page.text
        assert "strictness" not in page.values


class TestChoice:
    def test_each_choice_says_what_it_leads_to(self, supervisor, lot_id):
        page = plan_page(supervisor, lot_id)
        for words in (
            "Lighter A row with 25 in 100 bad trees passes 20 times in 100 instead of 10; about 6",
            "Stricter A row with 25 in 100 bad trees passes 5 times in 100 instead of 10; about 6",
        ):
            assert words in page.text
        assert "about 6 fewer trees." in page.text
        assert "about 6 more trees." in page.text
        assert page.values["strictness"] == "as_written"

    def test_the_figures_of_a_choice_can_be_seen_before_it_is_made(self, supervisor, lot_id):
        page = plan_page(supervisor, lot_id, "?strictness=stricter")
        assert "one with 25 in 100 passes 5 times." in page.text
        assert page.values["strictness"] == "stricter"
        assert f"/lots/{lot_id}/plan?strictness=lighter" in page.links

    @pytest.mark.parametrize(("strictness", "risk"), [("lighter", 0.2), ("stricter", 0.05)])
    def test_the_choice_is_what_the_trees_are_drawn_by(
        self, database, supervisor, lot_id, strictness, risk
    ):
        answer = supervisor.post(
            f"/lots/{lot_id}/audit", data={"client_id": str(uuid4()), "strictness": strictness}
        )
        assert "/audits/" in answer.location
        with database.read() as connection:
            risks = connection.scalars(sa.select(draw_stage.c.consumer_risk)).all()
        assert risks == [risk] * len(Stage)

    def test_without_a_choice_it_is_as_the_standard_says(self, database, supervisor, lot_id):
        supervisor.post(f"/lots/{lot_id}/audit", data={"client_id": str(uuid4())})
        assert drawn_plans(database) == [WavePlan((20, 33), (2, 4), (5, 5))] * len(Stage)

    @pytest.mark.parametrize("strictness", ["", "strictest", "0"])
    def test_no_other_choice_is_taken(self, database, supervisor, lot_id, strictness):
        sentence = "Choose lighter, as the standard says, or stricter."
        answer = supervisor.post(
            f"/lots/{lot_id}/audit",
            data={"client_id": str(uuid4()), "strictness": strictness},
            follow_redirects=True,
        )
        assert sentence in answer.text
        assert not drawn_plans(database)
        refused = supervisor.get(f"/lots/{lot_id}/plan?strictness={strictness}")
        assert refused.status_code == 422
        assert sentence in refused.text


class TestWithoutAnAuditToPlan:
    def test_once_drawn_it_shows_the_plan_that_was_drawn(self, supervisor, lot_id):
        supervisor.post(
            f"/lots/{lot_id}/audit", data={"client_id": str(uuid4()), "strictness": "lighter"}
        )
        page = plan_page(supervisor, lot_id)
        assert "By this plan the trees were drawn" in page.text
        assert "one with 25 in 100 passes 20 times." in page.text
        assert "Begin the audit" not in page.text
        assert f"/lots/{lot_id}/plan" in read_page(supervisor.get(f"/lots/{lot_id}")).links

    def test_a_drawn_plan_of_the_tables_names_its_table(self, supervisor, rewrite):
        lot = rewrite(method="table")
        supervisor.post(f"/lots/{lot}/audit", data={"client_id": str(uuid4())})
        assert "Table II-A of MIL-STD-105E" in plan_page(supervisor, lot).text

    def test_without_any_plan_it_says_why(self, database, supervisor, lot_id):
        with database.write() as connection:
            connection.execute(sa.text("DELETE FROM planting"))
        assert "No bearing tree of the standard stands in this lot." in (
            plan_page(supervisor, lot_id).text
        )

    def test_a_closed_lot_still_shows_what_decided_it(self, database, orchard, supervisor):
        lot = prune(database, orchard).lot_ids[0]
        audited(database, orchard, lot)
        view = read_page(supervisor.get(f"/lots/{lot}"))
        assert LotState.ACCEPTED in view.text.lower()
        assert "By this plan the trees were drawn" in plan_page(supervisor, lot).text
