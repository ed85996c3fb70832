"""With what diameters were measured: asked on every page that takes measures."""

from datetime import timedelta
from uuid import uuid4

import pytest

from audits.services import auditing, printing, standards
from audits.storage.queries.standards import versions_of_block
from tests import row_audit
from tests.printed import checked_batch, order_of
from tests.row_phone import enrolled
from tests.web.conftest import NOW
from tests.web.pages import read_page

ANSWERS = {"top": "right", "limbs": "2", "columns": "right"}
# Inches: a farm of the invented orchard reads them.
MEASURED = ANSWERS | {"heading_diameters": "5/16; 5/16", "heading_left_long": "0"}


@pytest.fixture
def begun(database, orchard) -> int:
    lot_id = row_audit.prune(database, orchard).lot_ids[0]
    return row_audit.begin(database, orchard, lot_id)


@pytest.fixture
def view(database, orchard, begun):
    """Return how the audit stands now."""
    return lambda: auditing.view_audit(database, orchard.supervisor, begun)


@pytest.fixture
def url(begun, view):
    """Return the address of a tree, the first being number 0."""
    return lambda number=0: f"/audits/{begun}/trees/{view().walk[number].id}"


def send(client, url, **form: str):
    return client.post(url, data={"client_id": str(uuid4()), "save": "1"} | form)


def gauges_of(answer) -> dict[str, bool]:
    """Return the gauges that a page offers, each with whether it is chosen."""
    _, _, after = answer.text.partition('name="gauge"')
    select, _, _ = after.partition("</select>")
    options = [part.partition(">")[0] for part in select.split("<option")[1:]]
    return {
        option.partition('value="')[2].partition('"')[0]: "selected" in option for option in options
    }


class TestTreePage:
    def test_nothing_is_asked_where_nothing_was_printed(self, supervisor, url, view):
        answer = supervisor.get(url())
        assert 'name="gauge"' not in answer.text
        assert send(supervisor, url(), **MEASURED).status_code == 302
        (kept,) = view().answers.values()
        assert (kept.has_diameters, kept.gauge) == (True, None)

    def test_a_checked_gauge_is_offered_and_kept_with_the_diameters(
        self, supervisor, database, orchard, url, view
    ):
        checked_batch(database, orchard, NOW)
        page = supervisor.get(url())
        assert gauges_of(page) == {"": True, "1": False}
        assert "B1: Pocket cards, Creek Block, version 1" in read_page(page).text
        assert not read_page(page).unlabelled
        assert send(supervisor, url(), **MEASURED, gauge="1").status_code == 302
        (kept,) = view().answers.values()
        assert kept.gauge == 1

    def test_it_is_remembered_for_the_rest_of_the_audit(
        self, supervisor, database, orchard, url, view
    ):
        checked_batch(database, orchard, NOW)
        first, second, third = url(0), url(1), url(2)
        send(supervisor, first, **MEASURED, gauge="1")
        assert gauges_of(supervisor.get(second)) == {"": False, "1": True}
        send(supervisor, second, **ANSWERS, heading="right", gauge="1")
        # A tree without a diameter has no gauge, and does not change what was measured with last.
        assert [answers.gauge for answers in view().answers.values()] == [1, None]
        assert gauges_of(supervisor.get(third))["1"]
        send(supervisor, third, **MEASURED, gauge="")
        assert gauges_of(supervisor.get(url(3)))[""]
        # Looked at again, a tree shows its own.
        assert gauges_of(supervisor.get(first))["1"]

    def test_an_unchecked_gauge_cannot_be_chosen_and_the_page_says_why(
        self, supervisor, database, orchard, url, view
    ):
        made = printing.make_batch(database, orchard.supervisor, order_of(orchard), NOW)
        page = supervisor.get(url())
        assert gauges_of(page) == {"": True}
        told = read_page(page)
        assert "its scale is not checked yet" in told.text
        assert f"/print/batches/{made.number}" in told.links
        answer = send(supervisor, url(), **MEASURED, gauge="1")
        assert answer.status_code == 422
        assert "its scale is not checked yet" in read_page(answer).problems["gauge"]
        assert '<details class="drawer" id="measures" open>' in answer.text
        # What was typed stands there again, with the gauge that was meant.
        assert read_page(answer).values["heading_diameters"] == MEASURED["heading_diameters"]
        assert gauges_of(answer)["1"]
        assert not view().answers

    def test_a_gauge_withdrawn_meanwhile_is_not_left_out_in_silence(
        self, supervisor, database, orchard, url
    ):
        checked_batch(database, orchard, NOW)
        send(supervisor, url(), **MEASURED, gauge="1")
        printing.withdraw_batch(database, orchard.supervisor, 1, NOW)
        page = supervisor.get(url(1))
        assert "The gauge B1 of the trees before cannot be used any more" in read_page(page).text
        # It concerns whoever measures: for the others the drawer stays closed, so that taps send.
        assert '<details class="drawer" id="measures">' in page.text
        assert gauges_of(page) == {"": True}
        # The tree that was measured with it keeps it.
        assert gauges_of(supervisor.get(url(0))) == {"": False, "1": True}
        assert (
            send(supervisor, url(0), **MEASURED | {"top": "nothing_due"}, gauge="1").status_code
            == 302
        )

    @pytest.mark.parametrize("gauge", ["0", "-1", "B1", "1.0", "9" * 30, "<b>"])
    def test_what_is_no_gauge_is_refused_at_the_field(
        self, supervisor, database, orchard, url, view, gauge
    ):
        checked_batch(database, orchard, NOW)
        answer = send(supervisor, url(), **MEASURED, gauge=gauge)
        assert answer.status_code == 422
        assert "gauge" in read_page(answer).problems
        assert "<b>" not in answer.text.partition("<main")[2]
        assert not view().answers

    def test_the_verdict_names_the_gauges_that_were_used(
        self, supervisor, database, orchard, url, begun
    ):
        checked_batch(database, orchard, NOW)
        for number, gauge in enumerate(["1", "1", ""]):
            send(supervisor, url(number), **MEASURED, gauge=gauge)
        printing.withdraw_batch(database, orchard.supervisor, 1, NOW)
        page = read_page(supervisor.get(f"/audits/{begun}/trees"))
        assert "Diameters measured with Caliper or own gauge 1 tree" in page.text
        assert "version 1 withdrawn since 2 trees" in page.text
        assert "/print/batches/1" in page.links


@pytest.fixture
def measured_heading(database, orchard):
    """A standard that takes nothing but measures for heading."""
    with database.read() as connection:
        [latest, *_] = versions_of_block(connection, orchard.farm_id, orchard.block_id)
    payload = latest.payload | {"heading": latest.payload["heading"] | {"measured": True}}
    standards.edit_standard(
        database,
        orchard.supervisor,
        latest.id,
        payload=payload,
        in_force_from=latest.in_force_from,
    )


@pytest.mark.usefixtures("measured_heading")
class TestDesk:
    def row(self, tree_id: int, diameters: str = "5/16", **boxes: str) -> dict[str, str]:
        cells = {
            "top": "R",
            "limbs": "2",
            "columns": "R",
            "heading_diameters": diameters,
            "heading_left_long": "0",
        }
        return {f"t{tree_id}-{box}": value for box, value in (cells | boxes).items()}

    def save(self, client, begun, *rows, gauge: str):
        form = {"client_id": str(uuid4()), "gauge": gauge}
        for row in rows:
            form |= row
        return client.post(f"/audits/{begun}/desk", data=form)

    def test_one_gauge_counts_for_all_diameters_of_the_sheet(
        self, supervisor, database, orchard, begun, view
    ):
        checked_batch(database, orchard, NOW)
        checked_batch(database, orchard, NOW)
        first, second = (tree.id for tree in view().walk[:2])
        rows = [self.row(first), self.row(second, "0")]
        assert self.save(supervisor, begun, *rows, gauge="1").status_code == 302
        assert [answers.gauge for answers in view().answers.values()] == [1, None]
        assert gauges_of(supervisor.get(f"/audits/{begun}/desk"))["1"]
        # Another box of a row leaves its diameters with their gauge; new ones take the new one.
        again = [self.row(first, top="H"), self.row(second, "1/4")]
        assert self.save(supervisor, begun, *again, gauge="2").status_code == 302
        assert [answers.gauge for answers in view().answers.values()] == [1, 2]

    def test_an_unchecked_gauge_is_told_once_and_nothing_is_kept(
        self, supervisor, database, orchard, begun, view
    ):
        printing.make_batch(database, orchard.supervisor, order_of(orchard), NOW)
        rows = [self.row(tree.id) for tree in view().walk[:3]]
        answer = self.save(supervisor, begun, *rows, gauge="1")
        assert answer.status_code == 422
        page = read_page(answer)
        assert "its scale is not checked yet" in page.problems["gauge"]
        assert page.values[f"t{view().walk[2].id}-heading_diameters"] == "5/16"
        assert "#gauge" in page.links
        assert not view().answers


class TestPackage:
    def test_a_phone_takes_along_the_gauges_that_may_be_used(self, app, database, orchard):
        phone = enrolled(database, orchard.supervisor, NOW)
        row_audit.prune(database, orchard)
        checked_batch(database, orchard, NOW)
        checked_batch(database, orchard, NOW, card_fits=False)
        checked_batch(database, orchard, NOW - timedelta(days=200))
        answer = phone.open(app).post("/field/prepare", json={"lots": "all"})
        packages = answer.json["prepared"]
        assert packages
        assert {str(package["gauges"]) for package in packages} == {
            str(
                [
                    {
                        "name": {
                            "en": "B1: Pocket cards, Creek Block, version 1",
                            "es": packages[0]["gauges"][0]["name"]["es"],
                        },
                        "number": 1,
                    }
                ]
            )
        }


def _unchecked(database, orchard):
    printing.make_batch(database, orchard.supervisor, order_of(orchard), NOW)


def _failed(database, orchard):
    checked_batch(database, orchard, NOW, card_fits=False)


def _withdrawn(database, orchard):
    checked_batch(database, orchard, NOW)
    printing.withdraw_batch(database, orchard.supervisor, 1, NOW)


def _of_last_season(database, orchard):
    checked_batch(database, orchard, NOW - timedelta(days=365))


@pytest.mark.parametrize("make", [_unchecked, _failed, _withdrawn, _of_last_season])
class TestOtherScreens:
    """Wherever else a diameter is scored, no gauge is taken that may not be used."""

    def test_a_start_check(self, supervisor, database, orchard, make):
        pass_id = row_audit.prune(database, orchard).pass_id
        make(database, orchard)
        worker = {"worker_id": orchard.worker_ids[0], "client_id": str(uuid4())}
        check = supervisor.post(f"/passes/{pass_id}/start-check", data=worker)
        assert check.status_code == 302, check.text
        place = {"row_id": orchard.row_ids[0], "position": "1", "side": "left"}
        url = f"{check.location}/tree"
        refused = send(supervisor, url, **MEASURED, **place, gauge="1")
        assert refused.status_code == 422
        assert "B1 cannot be used here" in read_page(refused).text
        assert send(supervisor, url, **MEASURED, **place, gauge="").status_code == 302

    def test_a_calibration_walk(self, supervisor, database, orchard, make):
        pass_id = row_audit.prune(database, orchard).pass_id
        make(database, orchard)
        entered = {"pass_id": pass_id, "trees": "10", "reference_id": "0"}
        walk = supervisor.post("/auditors/walks/new", data=entered)
        begun = supervisor.post(f"{walk.location}/round", data={"client_id": str(uuid4())})
        tree = supervisor.get(begun.location).location
        refused = send(supervisor, tree, **MEASURED, gauge="1")
        assert refused.status_code == 422
        assert "B1 cannot be used here" in read_page(refused).text
        assert supervisor.get(begun.location).location == tree
        assert send(supervisor, tree, **MEASURED, gauge="").status_code == 302

    def test_an_amendment(self, supervisor, database, orchard, begun, view, make):
        row_audit.fill(database, orchard, begun)
        row_audit.seal(database, orchard, begun)
        make(database, orchard)
        url = f"/audits/{begun}/trees/{view().walk[0].id}/amend"
        entry = MEASURED | {"reason": "Measured again.", "heading_diameters": "1/2; 1/2"}
        refused = send(supervisor, url, **entry, gauge="1")
        assert refused.status_code == 422
        assert "B1 cannot be used here" in read_page(refused).text
        assert send(supervisor, url, **entry, gauge="").status_code == 302
