"""The gallery of practice trees."""

import re

import pytest

from audits.practice.model import TreeKind
from audits.practice.words import KIND_WORDS
from tests.page_words import words_of


def test_every_kind_is_shown_beside_its_sources(supervisor):
    answer = supervisor.get("/practice-trees")
    page = words_of(answer)
    for kind in TreeKind:
        assert KIND_WORDS[kind].text in page
    for source in ("Schupp", "Clements", "Fujian", "Lancaster Farming", "Basedow", "Lehnert"):
        assert source in page
    assert answer.text.count('class="drawing"') == len(TreeKind)
    # A range with every mean.
    assert re.search(r"\d+, from \d+ to \d+", page)


@pytest.mark.parametrize(
    "query",
    [
        "?block=99999",
        "?block=x&habit=y&vigour=z&age=-1&number=abc",
        "?number=0",
        "?number=99999999999999999999",
        "?age=4&vigour=HIGH",
    ],
)
def test_an_address_that_asks_for_nothing_known_shows_the_usual_trees(supervisor, query):
    answer = supervisor.get(f"/practice-trees{query}")
    assert answer.status_code == 200
    assert '<option value="7" selected>' in answer.text
    assert '<option value="medium" selected>' in answer.text


def test_other_trees_keep_what_was_chosen(supervisor):
    page = supervisor.get("/practice-trees?habit=spur&vigour=high&age=9&number=4").text
    [link] = re.findall(r'href="(/practice-trees\?number=[^"]*)"', page)
    assert all(part in link for part in ("number=5", "habit=spur", "vigour=high", "age=9"))
    other = supervisor.get(link.replace("&amp;", "&")).text
    assert '<option value="spur" selected>' in other
    assert other != page


def test_the_block_decides_how_tall_trees_are(supervisor, orchard, sign_in):
    spanish = words_of(sign_in(language="es").get(f"/practice-trees?block={orchard.block_id}"))
    page = supervisor.get(f"/practice-trees?block={orchard.block_id}").text
    assert f'<option value="{orchard.block_id}" selected>' in page
    assert spanish
