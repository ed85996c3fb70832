"""What the pages say of lots passed over and of switching, and what people can do about it."""

from datetime import UTC, date, datetime

import pytest

from audits.sampling.stored import plan_payload
from audits.sampling.tables import Inspection, table_plan
from audits.services import passes, planning, standards
from audits.services.inspections import table_terms
from audits.standard import SamplingRule
from audits.storage.queries.fetch import insert
from audits.storage.queries.standards import versions_of_block
from audits.storage.tables import draw_stage
from audits.vocabulary import LotState, Method, PassKind, Role, Stage
from tests.scored_season import add_audit, day, trees
from tests.web.conftest import NOW
from tests.web.pages import read_page

# 7:30 in New York.
BEGUN = datetime(2026, 1, 20, 12, 30, tzinfo=UTC)
FIVE_IN_A_ROW = "Five lots in a row were accepted: one lot in three is audited, chosen at random."


def begin(database, orchard, **changes) -> int:
    entry = {
        "block_id": orchard.block_id,
        "crew_id": orchard.crew_id,
        "kind": PassKind.DORMANT,
        "method": Method.LADDER,
        "row_ids": orchard.row_ids,
        "started_at": BEGUN,
    }
    return passes.begin_pass(database, orchard.supervisor, **(entry | changes))


def finish(database, orchard, pass_id, chance=None) -> int:
    return passes.finish_row(
        database,
        orchard.supervisor,
        pass_id,
        orchard.row_ids[0],
        NOW,
        chance=None if chance is None else lambda: chance,
    )


def audit_lots(database, orchard, verdicts, *, from_table=False) -> None:
    """Add a lot a day whose tops were audited: + accepted, - not accepted."""
    rule = SamplingRule(method="table")
    with database.write() as connection:
        for number, verdict in enumerate(verdicts):
            ids = add_audit(
                connection,
                orchard,
                trees(Stage.TOP, None, "xoo"),
                started_at=day(2 + number),
                row=1,
                refused=[Stage.TOP] if verdict == "-" else [],
            )
            if from_table:
                terms = table_terms(rule, 310, Inspection.NORMAL)
                insert(
                    connection,
                    draw_stage,
                    {
                        "farm_id": orchard.farm_id,
                        "draw_id": ids.draw_id,
                        "stage": Stage.TOP,
                        "plan": plan_payload(table_plan(310, 6.5)) | terms,
                        "producer_risk": 0.05,
                        "consumer_risk": 0.1,
                    },
                )


def use_tables(database, orchard) -> None:
    with database.read() as connection:
        payload = versions_of_block(connection, orchard.farm_id, orchard.block_id)[0].payload
    standards.write_standard(
        database,
        orchard.supervisor,
        orchard.block_id,
        payload=payload | {"sampling": payload["sampling"] | {"method": "table"}},
        in_force_from=date(2026, 1, 2),
        now=NOW,
    )


def state_of(database, orchard, lot_id) -> LotState:
    with database.read() as connection:
        return planning.the_lot(connection, orchard.farm_id, lot_id).state


class TestPassedOver:
    @pytest.fixture
    def pass_id(self, database, orchard) -> int:
        audit_lots(database, orchard, "+++++")
        return begin(database, orchard)

    @pytest.fixture
    def lot_id(self, database, orchard, pass_id) -> int:
        return finish(database, orchard, pass_id, chance=0.9)

    def test_the_pass_says_how_many_lots_are_audited_and_why(self, supervisor, pass_id):
        assert FIVE_IN_A_ROW in read_page(supervisor.get(f"/passes/{pass_id}")).text

    def test_so_does_a_pass_whose_every_lot_is_audited(self, supervisor, database, orchard):
        page = read_page(supervisor.get(f"/passes/{begin(database, orchard)}"))
        assert "Every lot is audited until five in a row are accepted." in page.text

    @pytest.mark.usefixtures("lot_id")
    def test_the_pass_lists_it_under_its_own_name(self, supervisor, pass_id):
        page = read_page(supervisor.get(f"/passes/{pass_id}"))
        assert "1 lot is done with" in page.text
        assert "Not chosen for an audit" in page.text
        assert "Waiting for audit" not in page.text

    @pytest.mark.usefixtures("lot_id")
    def test_the_list_of_passes_counts_it(self, supervisor):
        assert "Not chosen for an audit: 1" in read_page(supervisor.get("/passes")).text

    @pytest.mark.usefixtures("lot_id")
    def test_it_neither_waits_nor_is_late_today(self, supervisor):
        page = read_page(supervisor.get("/"))
        assert "To audit" not in page.text
        assert "/lots/" not in " ".join(page.links)

    def test_it_can_be_taken_back_like_one_that_waits(self, supervisor, orchard, pass_id, lot_id):
        assert (
            f'value="{orchard.row_ids[0]}">Take back' in supervisor.get(f"/passes/{pass_id}").text
        )
        supervisor.post(f"/passes/{pass_id}/take-back", data={"row_id": orchard.row_ids[0]})
        assert supervisor.get(f"/lots/{lot_id}").status_code == 404

    def test_its_page_says_why_and_lets_a_supervisor_audit_it(
        self, supervisor, database, orchard, lot_id
    ):
        page = read_page(supervisor.get(f"/lots/{lot_id}"))
        assert f"{FIVE_IN_A_ROW} This lot was not chosen." in page.text
        assert "Begin the audit" not in page.text
        answer = supervisor.post(f"/lots/{lot_id}/all-the-same", follow_redirects=True)
        after = read_page(answer).text
        assert "The lot waits for its audit." in answer.text
        assert "This lot was not chosen, but somebody wanted it audited all the same." in after
        assert "Begin the audit" in after
        assert state_of(database, orchard, lot_id) is LotState.WAITING

    def test_asked_twice_it_stays_as_it_is(self, supervisor, lot_id):
        supervisor.post(f"/lots/{lot_id}/all-the-same")
        answer = supervisor.post(f"/lots/{lot_id}/all-the-same", follow_redirects=True)
        assert "waits for its audit already" in answer.text

    def test_a_chosen_lot_says_so(self, supervisor, database, orchard, pass_id):
        lot_id = finish(database, orchard, pass_id, chance=0.1)
        page = read_page(supervisor.get(f"/lots/{lot_id}"))
        assert f"{FIVE_IN_A_ROW} This lot was chosen." in page.text

    @pytest.mark.parametrize(
        ("chance", "words"),
        [(0.1, "Finished: Row 1. Ready to be audited."),
         (0.9, "Finished: Row 1. Not chosen for an audit.")],
    )  # fmt: skip
    def test_chance_comes_from_the_system_when_a_row_is_finished(
        self, supervisor, orchard, pass_id, monkeypatch, chance, words
    ):
        monkeypatch.setattr("webapp.passes.routes.SystemRandom.random", lambda _self: chance)
        answer = supervisor.post(
            f"/passes/{pass_id}/finished-now",
            data={"row_id": orchard.row_ids[0]},
            follow_redirects=True,
        )
        assert words in answer.text

    def test_several_rows_are_told_apart(self, supervisor, pass_id, monkeypatch):
        numbers = iter([0.9, 0.1, 0.5])
        monkeypatch.setattr("webapp.passes.routes.SystemRandom.random", lambda _self: next(numbers))
        answer = supervisor.post(
            f"/passes/{pass_id}",
            data={"row_numbers": "1-3", "finished_at": "2026-01-20T11:00"},
            follow_redirects=True,
        )
        assert "Finished: Row 2. Ready to be audited." in answer.text
        assert "Finished: Rows 1, 3. Not chosen for an audit." in answer.text


class TestPrepared:
    def test_finishing_a_row_looks_for_its_plan(self, supervisor, database, orchard, monkeypatch):
        seen = []
        monkeypatch.setattr(
            "webapp.passes.routes.prepare_plans",
            lambda _database, _actor, lot_ids: seen.extend(lot_ids),
        )
        pass_id = begin(database, orchard)
        supervisor.post(f"/passes/{pass_id}/finished-now", data={"row_id": orchard.row_ids[0]})
        supervisor.post(
            f"/passes/{pass_id}", data={"row_numbers": "2-3", "finished_at": "2026-01-20T11:00"}
        )
        supervisor.post(f"/passes/{pass_id}/end", data={"ended_at": "2026-01-20T12:00"})
        assert seen == [1, 2, 3, 1, 2, 3]

    def test_a_plan_that_cannot_be_prepared_stops_nobody(
        self, supervisor, database, orchard, monkeypatch
    ):
        def fail(*_given):
            raise RuntimeError

        monkeypatch.setattr("webapp.passes.routes.prepare_plans", fail)
        pass_id = begin(database, orchard)
        answer = supervisor.post(
            f"/passes/{pass_id}/finished-now",
            data={"row_id": orchard.row_ids[0]},
            follow_redirects=True,
        )
        assert "Finished: Row 1." in answer.text


class TestSwitching:
    @pytest.fixture
    def lot_of(self, database, orchard):
        """Return the number of a lot that waits after a history under plans of the tables."""

        def finished(verdicts: str) -> int:
            use_tables(database, orchard)
            audit_lots(database, orchard, verdicts, from_table=True)
            return finish(database, orchard, begin(database, orchard))

        return finished

    def test_each_stage_says_where_it_stands_why_and_by_which_lots(self, supervisor, lot_of):
        page = read_page(supervisor.get(f"/lots/{lot_of('+-+-')}"))
        assert "Inspection so far" in page.text
        assert (
            "Top Tightened inspection Two of the last three lots were not accepted: tightened "
            "inspection from the next lot."
        ) in page.text
        assert "The last 4 lots" in page.text
        assert "1 faulty of 3 trees; normal inspection" in page.text
        assert page.text.count("Inspection begins as normal inspection.") == 3

    def test_plans_of_our_own_say_nothing_of_it(self, supervisor, database, orchard):
        lot_id = finish(database, orchard, begin(database, orchard))
        page = read_page(supervisor.get(f"/lots/{lot_id}"))
        assert "normal inspection" not in page.text
        assert "Every lot is audited until five in a row are accepted." in page.text

    def test_a_crew_that_is_stopped_needs_the_owner(self, supervisor, sign_in, lot_of):
        lot_id = lot_of("---+-+--+-")
        page = read_page(supervisor.get(f"/lots/{lot_id}"))
        assert "This crew needs the owner." in page.text
        assert "acceptance by sampling stops until the cause is put right" in page.text
        assert "The cause is put right: Top" not in page.text
        assert "The cause is put right: Top" in sign_in(Role.OWNER).get(f"/lots/{lot_id}").text

    def test_the_owner_lets_it_go_on(self, owner, lot_of):
        lot_id = lot_of("---+-+--+-")
        answer = owner.post(f"/lots/{lot_id}/cause-put-right/top", follow_redirects=True)
        assert "Noted. Tightened inspection begins with the next lot." in answer.text
        assert "This crew needs the owner." not in answer.text
        again = owner.post(f"/lots/{lot_id}/cause-put-right/top", follow_redirects=True)
        assert "Acceptance by sampling is not stopped in this stage." in again.text

    def test_a_stage_that_does_not_exist_is_not_found(self, owner, lot_of):
        assert owner.post(f"/lots/{lot_of('+')}/cause-put-right/roots").status_code == 404
