"""The pages of quiz items: the list, one item with an example, retiring and restoring."""

import re
from datetime import UTC, datetime

import pytest

from audits.services.item_bank import retire_item
from audits.vocabulary import Role
from tests.page_words import words_of

pytestmark = pytest.mark.usefixtures("orchard")


def first_item(page: str) -> str:
    return re.search(r'href="/quiz-items/([^"]+)"', page).group(1)


def test_an_owner_retires_an_item_and_brings_it_back(sign_in):
    owner = sign_in(Role.OWNER)
    answer = owner.get("/quiz-items")
    assert "All items" in words_of(answer)
    item = first_item(answer.text)
    page = owner.get(f"/quiz-items/{item}")
    assert "An example" in words_of(page)
    assert "Nobody was asked it yet." in words_of(page)

    empty = owner.post(f"/quiz-items/{item}/retire", data={"reason": ""})
    assert empty.status_code == 422
    assert "Say why, in a few words." in empty.text

    owner.post(f"/quiz-items/{item}/retire", data={"reason": "Read in two ways."})
    retired = words_of(owner.get(f"/quiz-items/{item}"))
    assert "retired by Ina Wetherell. Read in two ways." in retired
    owner.post(f"/quiz-items/{item}/restore")
    assert "Read in two ways." not in words_of(owner.get(f"/quiz-items/{item}"))


def test_the_day_of_retiring_is_the_farms_day(sign_in, database, orchard):
    """Half past nine at night in New York is the next day in Greenwich."""
    owner = sign_in(Role.OWNER)
    item = first_item(owner.get("/quiz-items").text)
    evening = datetime(2026, 1, 20, 2, 30, tzinfo=UTC)
    retire_item(database, orchard.owner, item, reason="Read in two ways.", now=evening)
    assert "Not asked since Jan 19, 2026" in words_of(owner.get(f"/quiz-items/{item}"))


def test_a_supervisor_looks_and_changes_nothing(sign_in):
    supervisor = sign_in(Role.SUPERVISOR)
    item = first_item(supervisor.get("/quiz-items").text)
    assert "Do not ask it any more" not in words_of(supervisor.get(f"/quiz-items/{item}"))
    assert supervisor.post(f"/quiz-items/{item}/retire", data={"reason": "x"}).status_code == 403


def test_an_item_that_does_not_exist_is_not_found(sign_in):
    owner = sign_in(Role.OWNER)
    assert owner.get("/quiz-items/no-such-item").status_code == 404
    assert owner.post("/quiz-items/no-such-item/restore").status_code == 404
