"""Stages decided by mean and spread, on the pages of a standard and of an audit."""

import pytest

from tests.measured_rows import TARGET_MM, bell_heights, heights_of, measure_tops, topped
from tests.row_audit import PRUNED_FROM, begin, prune, seal, walk
from tests.web.pages import read_page

EVEN = bell_heights(TARGET_MM, 60.0)


class TestStandard:
    @pytest.fixture
    def url(self, orchard) -> str:
        return f"/blocks/{orchard.block_id}/standards"

    @pytest.fixture
    def form(self, supervisor, url) -> dict[str, str]:
        return read_page(supervisor.get(f"{url}/new")).values

    def test_it_is_offered_for_top_and_heading_only(self, supervisor, url):
        page = supervisor.get(f"{url}/new")
        names = [f'name="{stage}-by_mean"' in page.text for stage in ("top", "heading")]
        assert names == [True, True]
        assert page.text.count("-by_mean") == page.text.count("top-by_mean") + page.text.count(
            "heading-by_mean"
        )

    def test_what_is_chosen_is_told_on_the_page(self, supervisor, url, form):
        changes = {"top-measured": "y", "top-by_mean": "y"}
        answer = supervisor.post(f"{url}/new", data={**form, **changes}, follow_redirects=True)
        assert "Decided by mean and spread Top" in read_page(answer).text
        offered = read_page(supervisor.get(f"{url}/new")).values
        assert offered["top-by_mean"] == "y"
        assert "heading-by_mean" not in offered

    def test_nothing_is_told_where_all_is_counted(self, supervisor, url):
        assert "mean and spread" not in read_page(supervisor.get(f"{url}/1")).text

    @pytest.mark.parametrize(
        ("changes", "field", "words"),
        [
            ({"top-by_mean": "y"}, "top-by_mean", "let the auditor measure this stage"),
            (
                {"heading-by_mean": "y", "heading-measured": "y"},
                "heading-by_mean",
                "look at one end on each tree",
            ),
        ],
    )
    def test_what_it_needs_is_asked_for_at_the_field(
        self, supervisor, url, form, changes, field, words
    ):
        answer = supervisor.post(f"{url}/new", data={**form, **changes})
        assert answer.status_code == 422
        assert words in read_page(answer).problems[field]


class TestAudit:
    @pytest.fixture
    def audit_id(self, database, orchard) -> int:
        measure_tops(database, orchard, now=PRUNED_FROM)
        return begin(database, orchard, prune(database, orchard).lot_ids[0])

    def page(self, client, audit_id) -> str:
        return read_page(client.get(f"/audits/{audit_id}/trees")).text

    def test_the_verdict_tells_mean_spread_and_what_they_come_to(
        self, database, orchard, supervisor, audit_id
    ):
        walk(database, orchard, audit_id, heights_of(EVEN))
        seal(database, orchard, audit_id)
        assert (
            "Heights average 9 ft 11 in, spread 2 in: about 1 % outside the band, at most 15 % "
            "allowed."
        ) in self.page(supervisor, audit_id)

    def test_a_verdict_against_the_row_tells_which_way_it_leans(
        self, database, orchard, supervisor, audit_id
    ):
        walk(database, orchard, audit_id, heights_of(bell_heights(TARGET_MM + 120, 60)))
        text = self.page(supervisor, audit_id)
        assert "Top: Heights run high: 10 ft 4 in on average, spread 2 in; about 31 %" in text

    def test_counting_instead_is_said_with_its_reason(
        self, database, orchard, supervisor, audit_id
    ):
        walk(
            database,
            orchard,
            audit_id,
            lambda number: topped(TARGET_MM, to_side_branch=number != 3),
        )
        text = self.page(supervisor, audit_id)
        assert "Not only the height went wrong, so trees are counted instead. 1 of" in text

    def test_the_tree_screen_says_how_many_are_still_to_be_measured(
        self, database, orchard, supervisor, audit_id
    ):
        view = walk(database, orchard, audit_id, heights_of(EVEN), most=10)
        screen = supervisor.get(f"/audits/{audit_id}/trees/{view.next_tree.id}")
        text = read_page(screen).text
        assert "14 to 43 more trees." in text
        assert "the mean decides" in text
        assert "10 trees of 24 measured; the mean decides when all are." in self.page(
            supervisor, audit_id
        )
