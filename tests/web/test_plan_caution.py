"""The caution on the plan page: what the chances are worth where bad trees stand together."""

import pytest

from audits.sampling import simulate_clusters
from audits.services import standards
from audits.services.lots import view_lot
from audits.storage.queries.standards import versions_of_block
from audits.vocabulary import HeadingRule, Role, Stage
from tests.orchard import TREES_IN_ROW
from tests.row_audit import AUDITED, PRUNED_FROM, begin, prune
from tests.web.pages import read_page

REJECTABLE_TREES = 78


@pytest.fixture
def lot_id(database, orchard) -> int:
    return prune(database, orchard).lot_ids[0]


def simulated(database, orchard, lot_id) -> int:
    """Return how many of a hundred simulated rows pass by this lot's plan."""
    plan = view_lot(database, orchard.supervisor, lot_id).plan.plans[Stage.TOP]
    return round(100 * simulate_clusters(plan, REJECTABLE_TREES, TREES_IN_ROW, 10).chance)


def test_it_gives_the_measured_share_of_this_row(database, orchard, supervisor, lot_id):
    page = read_page(supervisor.get(f"/lots/{lot_id}/plan"))
    share = simulated(database, orchard, lot_id)
    assert (
        "Of 1,000 simulated lots with 78 of 310 trees bad, in runs of about 10, "
        f"{share} in 100 passed ("
    ) in page.text


def test_it_stays_once_the_trees_are_drawn(database, orchard, supervisor, lot_id):
    before = read_page(supervisor.get(f"/lots/{lot_id}/plan")).text
    begin(database, orchard, lot_id)
    after = read_page(supervisor.get(f"/lots/{lot_id}/plan")).text
    caution = before[before.index("These chances hold") : before.index("send that stretch back.")]
    assert caution in after


def test_it_speaks_spanish(database, orchard, sign_in, lot_id):
    share = simulated(database, orchard, lot_id)
    page = read_page(sign_in(Role.SUPERVISOR, "es").get(f"/lots/{lot_id}/plan"))
    assert (
        "De 1,000 tandas simuladas con fallas en 78 de 310 árboles, en grupos seguidos de unos 10, "
        f"pasaron {share} de cada 100 (de "
    ) in page.text


def test_a_row_whose_stages_are_all_measured_has_none(database, orchard, supervisor):
    with database.read() as connection:
        [version] = versions_of_block(connection, orchard.farm_id, orchard.block_id)
    payload = dict(version.payload)
    payload["top"] = payload["top"] | {"measured": True, "by_mean": True}
    payload["heading"] = payload["heading"] | {"rule": HeadingRule.OFF}
    for stage in (Stage.LIMBS, Stage.COLUMNS):
        payload[stage] = payload[stage] | {"in_use": False}
    standards.write_standard(
        database,
        orchard.supervisor,
        orchard.block_id,
        payload=payload,
        in_force_from=PRUNED_FROM.date(),
        now=AUDITED,
    )
    lot_id = prune(database, orchard).lot_ids[0]
    page = read_page(supervisor.get(f"/lots/{lot_id}/plan"))
    assert "How often it passes" in page.text
    assert "simulated" not in page.text
