"""Numbers of records that no database could hold are answered like any other that is not there."""

from pathlib import Path

import pytest

from audits.vocabulary import Role
from webapp.ids import LARGEST_ID, record_id

WEBAPP = Path(__file__).parents[2] / "webapp"
NUMBERS = [str(LARGEST_ID), str(LARGEST_ID + 1), "9" * 25, "-1", "٣", "1e9", "x"]
ASKED = [
    "/coaching/trainings/new?worker_id={}",
    "/coaching/trainings/new?crew_id={}",
    "/coaching/trainings/new?days={}",
    "/crews/workers/new?crew_id={}",
    "/learn/briefs/new?method=ladder&crew_id={}",
    "/practice/pack.json?block={}",
    "/print?block_id={}",
    "/season?crew={}",
    "/season?season={}",
]
SENT = [("/learn/briefs/withdraw", "briefing_id"), ("/devices", "user_id")]


@pytest.mark.parametrize("number", NUMBERS)
@pytest.mark.parametrize("address", ASKED)
def test_no_number_in_an_address_breaks_a_page(sign_in, address, number):
    owner = sign_in(Role.OWNER)
    assert owner.get(address.partition("?")[0]).status_code != 404
    assert owner.get(address.format(number)).status_code < 500


@pytest.mark.parametrize("number", NUMBERS)
@pytest.mark.parametrize(("address", "name"), SENT)
def test_no_number_in_a_form_breaks_a_page(sign_in, address, name, number):
    answer = sign_in(Role.OWNER).post(address, data={name: number})
    assert answer.status_code < 500


def test_a_number_that_no_record_can_have_is_nobodys():
    assert record_id(str(LARGEST_ID)) == LARGEST_ID
    assert {record_id(text) for text in (str(LARGEST_ID + 1), "9" * 25, "-1")} == {0}


@pytest.mark.parametrize("text", ["", "-", "x", "1e9", "٣", "1.0", "--1"])
def test_what_is_no_number_counts_as_not_sent(text):
    with pytest.raises(ValueError, match="no whole number"):
        record_id(text)


def test_no_request_is_read_by_plain_int():
    """Plain `int` takes what neither database can hold."""
    read = {path.name for path in WEBAPP.rglob("*.py") if "type=int" in path.read_text("utf-8")}
    assert read == set()
