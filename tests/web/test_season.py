"""The season's page: for owners, about lots, blocks, crews and stages, never about a person."""

import pytest

from audits.services import farms
from audits.storage.tables import worker
from audits.vocabulary import Fault, LotState, PassKind, Role, Stage
from tests.orchard import WORKERS, plant_orchard
from tests.page_words import words_of
from tests.scored_season import (
    BlockIds,
    add_audit,
    add_lot,
    add_pass,
    add_rework_order,
    day,
    trees,
)
from tests.statements import statements_of
from tests.web.conftest import NOW

TOP = Stage.TOP


def audit_lots(database, orchard, *, accepted, refused=0, pattern="oox", worker_id=None, **place):
    with database.write() as connection:
        for number in range(accepted + refused):
            bad = number >= accepted
            lot = add_lot(
                connection,
                orchard,
                finished_at=day(1 + number // 4),
                row=number % len(orchard.row_ids),
                state=LotState.REWORK if bad else LotState.ACCEPTED,
                hours=10,
                **place,
            )
            ids = add_audit(
                connection,
                orchard,
                trees(TOP, worker_id, pattern),
                started_at=day(1 + number // 4, 18),
                lot_ids=lot,
                auditor_id=(orchard.supervisor.user_id, orchard.owner.user_id)[number % 2],
                refused=[TOP] if bad else [],
            )
            if bad:
                add_rework_order(connection, orchard, ids, {TOP: Fault.HIGH}, created_at=day(30))


def test_only_owners_see_the_season(app, sign_in):
    for role in (Role.SUPERVISOR, Role.WORKER):
        assert sign_in(role).get("/season").status_code == 403
    assert app.test_client().get("/season").status_code == 302
    assert sign_in(Role.OWNER).get("/season").status_code == 200


def test_a_season_without_work_says_so(owner):
    page = words_of(owner.get("/season"))
    assert "Nothing was pruned in this season yet." in page
    assert "Lots by block" not in page


def test_a_season_with_finished_rows_and_no_audit_says_so(database, orchard, owner):
    with database.write() as connection:
        add_lot(connection, orchard, finished_at=day(1), state=LotState.WAITING)
    page = words_of(owner.get("/season"))
    assert "1 not audited yet" in page
    assert "No lot was audited yet." in page


def test_nine_lots_and_nine_trees_show_counts_and_no_per_cent(database, orchard, owner):
    audit_lots(database, orchard, accepted=7, refused=2, pattern="o")
    answer = owner.get("/season")
    page = words_of(answer)
    assert "7 of 9 lots accepted at the first audit. Too few for a share." in page
    assert "9 of 9 trees right. Too few for a rate." in page
    assert "%" not in answer.text
    assert "in 10" not in page
    assert 'class="drawing"' not in answer.text


def test_29_lots_and_29_trees_show_ranges_and_compare_nothing(database, orchard, owner):
    audit_lots(database, orchard, accepted=20, refused=9, pattern="x")
    answer = owner.get("/season")
    page = words_of(answer)
    assert "5 to 9 in 10 lots accepted at the first audit (29 lots). Too few to compare." in page
    assert "0 to 2 in 10 right (29 trees). Too few to compare." in page
    assert "%" not in answer.text
    assert "About" not in page
    assert 'class="drawing"' not in answer.text


def test_thirty_lots_show_a_share_with_its_range(database, orchard, owner):
    audit_lots(database, orchard, accepted=24, refused=6, pattern="oooox")
    answer = owner.get("/season")
    page = words_of(answer)
    assert "About 8 in 10 lots accepted at the first audit, could be 6 to 10 (30 lots)." in page
    assert "About 80 in 100 right, could be 72 to 86 (150 trees)." in page
    assert "Too high" in page
    assert 'class="drawing"' in answer.text
    assert "the season: 20 %" in page


def test_no_person_is_named_or_coded(database, orchard, owner):
    for worker_id in orchard.worker_ids:
        audit_lots(database, orchard, accepted=2, refused=1, worker_id=worker_id)
    page = owner.get("/season").text
    for code, name, _ in WORKERS:
        assert name not in page
        assert f">{code}<" not in page


def test_a_crew_of_four_shows_no_figures(database, orchard, owner):
    audit_lots(database, orchard, accepted=3, refused=1)
    with database.write() as connection:
        connection.execute(
            worker.update().where(worker.c.id.in_(orchard.worker_ids[4:])).values(retired=True)
        )
    answer = owner.get("/season")
    by_crew = answer.text.split("Lots by crew")[-1].split("</table>")[0]
    assert "Fewer than 5 people: no figures are shown." in by_crew
    assert "3" not in by_crew.split("<tbody")[1].replace("Fewer than 5", "")
    assert "<option" not in answer.text.split("Stages of")[-1].split("</form>")[0].replace(
        '<option value="">', ""
    )
    assert owner.get(f"/season?crew={orchard.crew_id}").status_code == 404


def test_stages_of_one_crew_may_be_chosen(database, orchard, owner):
    crew_b = farms.add_crew(database, orchard.supervisor, name="Crew B")
    audit_lots(database, orchard, accepted=2)
    audit_lots(database, orchard, accepted=1, pattern="oo", crew_id=crew_b)
    page = words_of(owner.get(f"/season?crew={orchard.crew_id}"))
    assert "Stages, Crew A" in page
    assert "4 of 6 trees right." in page
    assert "6 of 8 trees right." in words_of(owner.get("/season"))


def test_hours_of_rework_stand_beside_those_of_pruning(database, orchard, owner):
    audit_lots(database, orchard, accepted=3)
    place = BlockIds(orchard.block_id, orchard.row_ids, orchard.standard_id)
    with database.write() as connection:
        for hours in (7.5, None):
            add_pass(
                connection,
                orchard,
                place,
                crew_id=orchard.crew_id,
                ended_at=day(5),
                hours=hours,
                kind=PassKind.REWORK,
            )
    page = words_of(owner.get("/season"))
    assert "Of 37.5 hours noted, 7.5 went into rework (20 %). No wages are kept here." in page
    assert "2 passes, 1 without hours" in page


def test_hours_that_nobody_noted_are_not_called_zero(database, orchard, owner):
    with database.write() as connection:
        add_lot(connection, orchard, finished_at=day(1), hours=None)
    page = words_of(owner.get("/season"))
    assert "hours of pruning - 1 pass, 1 without hours" in page
    assert "hours of rework 0 0 passes" in page


def test_another_farms_season_is_not_there(database, owner):
    other = plant_orchard(database, NOW, name="Far Slope")
    audit_lots(database, other, accepted=12, refused=20)
    assert "Nothing was pruned in this season yet." in words_of(owner.get("/season"))
    assert owner.get(f"/season?crew={other.crew_id}").status_code == 404


def test_every_chart_has_a_title_a_description_and_its_figures(database, orchard, owner):
    audit_lots(database, orchard, accepted=10, pattern="ooxooo")
    page = owner.get("/season").text
    assert 'aria-labelledby="chart-top-title chart-top-desc"' in page
    assert "<desc" in page
    assert "The figures" in page
    assert "11-20" in page


@pytest.mark.parametrize("lots", [6, 40])
def test_the_page_takes_as_many_statements_for_few_lots_as_for_many(database, orchard, owner, lots):
    audit_lots(database, orchard, accepted=lots - 3, refused=3, pattern="ooxoooo")
    with statements_of(database) as seen:
        owner.get("/season")
    assert len(seen) == 2 + 11
