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


@pytest.mark.parametrize("text", ["", *NUMBERS[1:]])
def test_what_is_no_number_of_a_record_is_refused(text):
    with pytest.raises(ValueError, match="no record has"):
        record_id(text)
    assert record_id(str(LARGEST_ID)) == LARGEST_ID


def test_no_request_is_read_by_plain_int():
    """Plain `int` takes what neither database can hold."""
    read = {path.name for path in WEBAPP.rglob("*.py") if "type=int" in path.read_text("utf-8")}
    assert read == set()
