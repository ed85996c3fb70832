"""The code of a card leads to its block's page, which says whether the card is in force."""

from datetime import date

import pytest

from audits.services import printing, standards
from audits.storage.queries.standards import versions_of_block
from audits.vocabulary import Role
from tests.printed import order_of
from tests.web.conftest import NOW
from tests.web.pages import read_page


@pytest.fixture
def url(orchard) -> str:
    return f"/blocks/{orchard.block_id}"


@pytest.fixture
def card(database, orchard) -> int:
    return printing.make_batch(database, orchard.supervisor, order_of(orchard), NOW).number


def write_version(database, orchard, day: date) -> int:
    """Write another version of the block's standard; return its id."""
    with database.read() as connection:
        [latest, *_] = versions_of_block(connection, orchard.farm_id, orchard.block_id)
    standards.write_standard(
        database,
        orchard.supervisor,
        orchard.block_id,
        payload=latest.payload,
        in_force_from=day,
        now=NOW,
    )
    with database.read() as connection:
        return versions_of_block(connection, orchard.farm_id, orchard.block_id)[0].id


def told(client, url, card) -> str:
    answer = client.get(f"{url}?card={card}")
    assert answer.status_code == 200
    return read_page(answer).text


@pytest.mark.parametrize("role", list(Role))
class TestWhoeverHoldsIt:
    def test_a_card_in_force(self, sign_in, role, url, card):
        assert "Your card (B1) shows version 1, which is in force." in told(
            sign_in(role), url, card
        )

    def test_a_card_that_was_replaced(self, sign_in, role, database, orchard, url, card):
        write_version(database, orchard, date(2026, 1, 20))
        said = told(sign_in(role), url, card)
        assert "shows version 1. Version 2 has replaced it since Jan 20, 2026" in said

    def test_a_card_of_a_version_to_come(self, sign_in, role, database, orchard, url, card):
        later = write_version(database, orchard, date(2026, 1, 21))
        order = order_of(orchard, standard_version_id=later)
        number = printing.make_batch(database, orchard.supervisor, order, NOW).number
        client = sign_in(role)
        assert "in force from Jan 21, 2026 only" in told(client, url, number)
        assert "shows version 1, which is in force" in told(client, url, card)

    def test_a_withdrawn_card(self, sign_in, role, database, orchard, url, card):
        printing.withdraw_batch(database, orchard.supervisor, card, NOW)
        assert "was withdrawn" in told(sign_in(role), url, card)

    @pytest.mark.parametrize("number", ["7", "0", "999999999"])
    def test_a_number_that_no_batch_has(self, sign_in, role, url, number):
        assert f"No card B{number} is known on this farm" in told(sign_in(role), url, number)

    @pytest.mark.parametrize("number", ["", "B1", "-1", "1e3", "9" * 40, "<b>x</b>"])
    def test_a_number_that_is_none(self, sign_in, role, url, number):
        assert "cannot be read" in told(sign_in(role), url, number)


def test_whoever_has_not_signed_in_signs_in_first_and_then_reads_it(app, url, card):
    client = app.test_client()
    answer = client.get(f"{url}?card={card}")
    assert answer.status_code == 302
    assert answer.location.startswith("/sign-in?next=")
    assert f"card%3D{card}" in answer.location


def test_workers_see_no_more_of_the_block(sign_in, url, card):
    page = read_page(sign_in(Role.WORKER).get(f"{url}?card={card}"))
    assert "Version 1 of the standard is in force here since Nov 1, 2025." in page.text
    assert not [link for link in page.links if link.startswith("/blocks")]
    assert "Rows" not in page.text
    # Without a card a block is no page of theirs: see tests/web/test_blocks.py.
    assert sign_in(Role.WORKER).get(url).status_code == 403


@pytest.mark.usefixtures("card")
def test_a_block_page_without_a_card_says_nothing_of_one(supervisor, url):
    assert "Your card" not in read_page(supervisor.get(url)).text


@pytest.mark.usefixtures("card")
def test_a_printed_version_cannot_be_changed_and_says_so(supervisor, url):
    page = supervisor.get(f"{url}/standards/1")
    assert "is printed on cards or gauges (batch B1)" in read_page(page).text
    assert f"{url}/standards/1/edit" not in read_page(page).links
    assert "Frozen" in read_page(supervisor.get(url)).text
    answer = supervisor.get(f"{url}/standards/1/edit")
    assert answer.status_code == 409
    assert "B1" in answer.text
