"""Writing, changing and reading a block's standard."""

import re
from datetime import date

import pytest
import sqlalchemy as sa
from scipy import stats

from audits.learning_stages import sign_off_chance
from audits.sampling import InspectionLevel, PlanKind
from audits.services import farms, standards
from audits.standard import SamplingRule, SignOffRule
from audits.storage import tables
from audits.storage.queries import standards as queries
from audits.storage.queries.fetch import insert
from audits.vocabulary import BearingHabit, HeadingRule, Method, PassKind, PlanMethod, Role
from tests.orchard import plant_orchard
from tests.web.conftest import NOW
from tests.web.pages import read_page


@pytest.fixture
def url(orchard) -> str:
    return f"/blocks/{orchard.block_id}/standards"


@pytest.fixture
def form(supervisor, url) -> dict[str, str]:
    """The form of a new version as it is offered."""
    return read_page(supervisor.get(f"{url}/new")).values


def count(database) -> int:
    with database.read() as connection:
        return connection.scalar(sa.select(sa.func.count()).select_from(tables.standard_version))


def standard(database, orchard, version):
    with database.read() as connection:
        record = queries.standard_by_number(connection, orchard.farm_id, orchard.block_id, version)
    return standards.standard_of(record)


def begin_pass(database, orchard) -> None:
    with database.write() as connection:
        insert(
            connection,
            tables.crew_pass,
            {
                "farm_id": orchard.farm_id,
                "block_id": orchard.block_id,
                "crew_id": orchard.crew_id,
                "standard_version_id": orchard.standard_id,
                "kind": PassKind.DORMANT,
                "method": Method.LADDER,
                "started_at": NOW,
                "lot_by": "row",
            },
        )


def test_a_standard_reads_in_plain_words_in_both_languages(supervisor, url):
    answer = supervisor.get(f"{url}/1")

    text = read_page(answer).text
    for sentence in (
        "Cut at 9 ft 11 in from the ground.",
        "That is 1 in below the top wire.",
        "Take out the 2 largest limbs.",
        "Make each branch one column.",
        "Cut them where they are pencil thick.",
        "Two people at a tree: the left side calls the limbs.",
        "good with up to 5 % wrong trees, bad with 25 % or more",
    ):
        assert sentence in text
    columns = re.findall(r'class="stage-words" lang="(\w+)"', answer.text)
    assert columns == ["en", "es"] * 5


def test_the_stages_stand_from_the_top_of_the_tree_down(supervisor, url):
    for path in ("/1", "/new"):
        text = read_page(supervisor.get(url + path)).text
        places = [text.index(f" {stage} ") for stage in ("Top", "Limbs", "Columns", "Heading")]
        assert places == sorted(places)


def test_a_new_version_starts_from_the_last_one(form):
    assert form["in_force_from"] == "2026-01-20"
    assert form["top-target_mm"] == "9.9 ft"
    assert form["limbs-large_mm"] == "19 mm"
    assert form["heading-rule"] == "required"
    assert form["top-acceptable_fraction"] == "5"
    assert form["heading-rejectable_fraction"] == "25"
    assert form["producer_risk"] == "5"
    assert form["limbs-weight"] == "1"


def test_the_usual_values_come_in_whole_inches_where_people_read_inches(supervisor, url):
    usual = read_page(supervisor.get(f"{url}/new?preset=1")).values

    assert usual["top-tolerance_mm"] == "6 in"
    assert usual["top-outer_mm"] == "1 ft 6 in"
    assert usual["limbs-large_mm"] == "3/4 in"
    assert usual["limbs-measured_out_mm"] == "1 in"
    assert usual["limbs-clean_cut_height_mm"] == "2 ft 2 in"
    assert usual["columns-side_branch_mm"] == "6 in"
    assert usual["heading-thinnest_mm"] == "6 mm"
    assert usual["heading-rule"] == "off"


def test_the_form_as_offered_keeps_every_criterion(database, orchard, supervisor, url, form):
    answer = supervisor.post(f"{url}/new", data=form)

    assert answer.location == f"{url}/2"
    assert standard(database, orchard, 2) == standard(database, orchard, 1)


def test_what_is_entered_is_what_counts(database, orchard, supervisor, url, form):
    changes = {
        "in_force_from": "2026-02-01",
        "top-target_mm": "9'6\"",
        "limbs-most": "3",
        "limbs-large_mm": "3/4 in",
        "limbs-acceptable_fraction": "2.5",
        "columns-rejectable_fraction": "30 %",
        "columns-measured": "y",
        "heading-rule": "off",
        "heading-weight": "0,5",
        "limb_caller": "crew_leader",
        "skip_decided": "y",
        "consumer_risk": "8",
    }
    page = read_page(supervisor.post(f"{url}/new", data={**form, **changes}, follow_redirects=True))

    written = standard(database, orchard, 2)
    assert "Still to come" in page.text
    assert written.top.target_mm == 2_895.6
    assert (written.limbs.most, written.limbs.large_mm) == (3, 19.05)
    assert written.limbs.promise.acceptable_fraction == 0.025
    assert written.columns.promise.rejectable_fraction == 0.3
    assert written.columns.measured
    assert written.heading.rule is HeadingRule.OFF
    assert written.heading.weight == 0.5
    assert written.skip_decided
    assert written.consumer_risk == 0.08
    assert written.row_spacing_mm == 11 * 304.8


def test_the_rule_of_signing_off_is_chosen_and_its_chances_are_told(
    database, orchard, supervisor, url, form
):
    assert (form["sign_off-trees"], form["sign_off-most_nonconforming"]) == ("20", "1")
    changes = {"sign_off-trees": "10", "sign_off-most_nonconforming": "0"}
    page = read_page(supervisor.post(f"{url}/new", data={**form, **changes}, follow_redirects=True))

    rule = SignOffRule(trees=10, most_nonconforming=0)
    assert standard(database, orchard, 2).sign_off == rule
    assert "When the last 10 due trees are all right." in page.text
    times = round(100 * sign_off_chance(0.25, rule, 20))
    assert (
        "Somebody who leaves 1 tree in 4 wrong is signed off within 20 trees "
        f"{times} times in 100." in page.text
    )


def test_a_rule_of_signing_off_out_of_range_is_refused_at_its_entry(
    database, supervisor, url, form
):
    changes = {"sign_off-trees": "3", "sign_off-most_nonconforming": "many"}
    answer = supervisor.post(f"{url}/new", data={**form, **changes})
    assert answer.status_code == 422
    assert set(read_page(answer).problems) == {"sign_off-most_nonconforming"}
    changes["sign_off-most_nonconforming"] = "1"
    problems = read_page(supervisor.post(f"{url}/new", data={**form, **changes})).problems
    assert problems == {"sign_off-trees": "Must be at least 5."}
    assert count(database) == 1


def test_how_many_trees_are_looked_at_is_chosen(database, orchard, supervisor, url, form):
    assert form["sampling-method"] == "waves"
    assert form["sampling-most_waves"] == "2"
    assert form["sampling-skip_lots"]
    assert form["sampling-acceptable_quality_limit"] == "6.5"
    changes = {
        "sampling-method": "table",
        "sampling-most_waves": "3",
        "sampling-acceptable_quality_limit": "10.0",
        "sampling-inspection_level": "S-4",
        "sampling-table_kind": "double",
    }
    entered = {**form, **changes}
    del entered["sampling-skip_lots"]
    page = read_page(supervisor.post(f"{url}/new", data=entered, follow_redirects=True))

    assert standard(database, orchard, 2).sampling == SamplingRule(
        method=PlanMethod.TABLE,
        most_waves=3,
        skip_lots=False,
        acceptable_quality_limit=10,
        inspection_level=InspectionLevel.SPECIAL_4,
        table_kind=PlanKind.DOUBLE,
    )
    assert "(MIL-STD-105E): AQL 10, level S-4." in page.text
    assert "Two samples, the second only where the first does not decide." in page.text


def test_every_limit_on_offer_is_one_of_trees_in_a_hundred(supervisor, url):
    answer = supervisor.get(f"{url}/new").text
    select = re.search(r"<select[^>]*acceptable_quality_limit.*?</select>", answer, re.DOTALL)[0]
    offered = [float(value) for value in re.findall(r'value="([\d.]+)"', select)]
    assert offered[0] == 0.01
    assert offered[-1] == 25
    assert len(offered) == 18


def test_the_form_shows_the_tables_at_the_limit_and_at_the_acceptable_fraction(supervisor, url):
    text = read_page(supervisor.get(f"{url}/new")).text
    assert "For a row of 310 trees, level II, under normal inspection:" in text
    # MIL-STD-105E: letter H, 50 trees, AQL 6.5 accepts 7; scipy: 20 of 310 bad are the nearest to
    # 6.5 in 100.
    passed = round(100 * stats.hypergeom(310, 20, 50).cdf(7))
    assert (
        f"At the AQL of 6.5 in 100 it passes {passed} times in 100; at your acceptable fraction of "
        "5 in 100 it passes more than 99 times." in text
    )
    # The columns beside it: AQL 2.5 is 50 trees, 3 accepted; 15 is 50 trees, 14 accepted.
    assert "accepted with up to 3 bad trees of 50" in text
    assert "accepted with up to 14 bad trees of 50" in text


def test_stages_that_promise_differently_each_get_their_curve(supervisor, url, form):
    supervisor.post(f"{url}/new", data={**form, "limbs-acceptable_fraction": "2"})
    text = read_page(supervisor.get(f"{url}/new")).text
    assert "at your acceptable fraction of 2 in 100" in text
    assert "at your acceptable fraction of 5 in 100" in text
    assert "Top, Columns, Heading." in text


def test_a_block_without_rows_is_thought_of_as_300_trees(database, orchard, supervisor):
    block_id = farms.add_block(
        database,
        orchard.owner,
        name="Ridge",
        cultivar="Frost Lady",
        habit=BearingHabit.SPUR,
        rootstock="",
        row_spacing_mm=3_000.0,
        tree_spacing_mm=1_000.0,
    )
    text = read_page(supervisor.get(f"/blocks/{block_id}/standards/new")).text
    assert "For a row of 300 trees" in text


def test_beside_entries_at_fault_no_figures_stand(supervisor, url, form):
    answer = supervisor.post(f"{url}/new", data={**form, "limbs-weight": "heavy"})
    assert "At the AQL of" not in read_page(answer).text


@pytest.mark.parametrize(
    ("changes", "sentences"),
    [
        ({}, ("in up to 2 walks", "one lot in three is audited")),
        (
            {"sampling-method": "single", "sampling-skip_lots": ""},
            ("One sample is looked at, and decides. Every lot is audited.",),
        ),
        ({"sampling-method": "double"}, ("Two samples of the same size are drawn.",)),
    ],
)
def test_the_page_of_a_standard_says_how_lots_are_decided(
    supervisor, url, form, changes, sentences
):
    entered = {name: value for name, value in {**form, **changes}.items() if value}
    page = read_page(supervisor.post(f"{url}/new", data=entered, follow_redirects=True))
    assert all(sentence in page.text for sentence in sentences)


def test_a_stage_can_be_left_out(database, orchard, supervisor, url, form):
    left_out = {name: value for name, value in form.items() if name != "columns-in_use"}
    page = read_page(supervisor.post(f"{url}/new", data=left_out, follow_redirects=True))

    assert not standard(database, orchard, 2).columns.in_use
    assert "Make each branch one column." not in page.text


def test_a_standard_without_stages_is_refused(database, supervisor, url, form):
    nothing = {name: value for name, value in form.items() if not name.endswith("in_use")}
    answer = supervisor.post(f"{url}/new", data={**nothing, "heading-rule": "off"})

    page = read_page(answer)
    assert answer.status_code == 422
    assert page.problems == {
        "top-in_use": "Use at least one stage: a standard without stages decides nothing."
    }
    assert "Nothing was saved yet" in page.text
    assert count(database) == 1


@pytest.mark.parametrize(
    ("change", "field", "sentence"),
    [
        (
            {"top-target_mm": "tall"},
            "top-target_mm",
            'Cannot read "tall" as a length. Write it like 9 ft 11 in, 6 in or 9.9 ft.',
        ),
        ({"top-target_mm": "11 in"}, "top-target_mm", "Must be more than 20 in."),
        (
            {"top-tolerance_mm": "0 in"},
            "top-tolerance_mm",
            '"0 in" is too short: it must be more than zero.',
        ),
        (
            {"top-outer_mm": "3 in"},
            "top-outer_mm",
            "The outer limit must lie beyond the tolerance.",
        ),
        (
            {"limbs-large_mm": "thick"},
            "limbs-large_mm",
            'Cannot read "thick" as a diameter. Write it like 3/4 in or 19 mm.',
        ),
        ({"limbs-large_mm": "5 in"}, "limbs-large_mm", "Must be at most 3 15/16 in."),
        (
            {"limbs-least": "3"},
            "limbs-most",
            "The most limbs out cannot be fewer than the least.",
        ),
        ({"limbs-most": "two"}, "limbs-most", "Write a whole number, such as 12."),
        ({"limbs-most": "9"}, "limbs-most", "Must be at most 8."),
        (
            {"columns-least_single": "6"},
            "columns-least_single",
            "No more single columns can be asked for than branches are looked at.",
        ),
        (
            {"heading-thickest_mm": "5 mm"},
            "heading-thickest_mm",
            "The band's upper limit must be above its lower one.",
        ),
        (
            {"limbs-acceptable_fraction": "30"},
            "limbs-acceptable_fraction",
            "The acceptable fraction must be below the rejectable one.",
        ),
        (
            {"limbs-rejectable_fraction": "100"},
            "limbs-rejectable_fraction",
            "Must be less than 100 %.",
        ),
        (
            {"limbs-rejectable_fraction": "a quarter"},
            "limbs-rejectable_fraction",
            "Write a percentage, such as 5.",
        ),
        ({"producer_risk": ""}, "producer_risk", "Fill in this percentage."),
        ({"producer_risk": "50"}, "producer_risk", "Must be less than 50 %."),
        ({"top-weight": "0"}, "top-weight", "Must be more than 0."),
        ({"top-weight": "heavy"}, "top-weight", "Write a number, such as 1.5."),
        ({"heading-rule": ""}, "heading-rule", "Choose one."),
        (
            {"in_force_from": "soon"},
            "in_force_from",
            "Write the day as year-month-day, such as 2026-01-20.",
        ),
        ({"audit_within_days": "31"}, "audit_within_days", "Must be at most 30."),
        ({"sampling-method": ""}, "sampling-method", "Choose one."),
        ({"sampling-most_waves": "7"}, "sampling-most_waves", "Not a valid choice."),
        (
            {"sampling-acceptable_quality_limit": "5"},
            "sampling-acceptable_quality_limit",
            "Not a valid choice.",
        ),
    ],
)
def test_a_bad_criterion_is_refused_at_its_field(
    database, supervisor, url, form, change, field, sentence
):
    answer = supervisor.post(f"{url}/new", data={**form, **change})

    assert answer.status_code == 422
    assert read_page(answer).problems == {field: sentence}
    assert count(database) == 1


def test_a_problem_opens_the_part_that_holds_it(supervisor, url, form):
    answer = supervisor.post(f"{url}/new", data={**form, "limbs-weight": "heavy"})

    assert answer.text.count('<details class="more" open>') == 1


def test_a_version_is_changed_until_a_pass_uses_it(database, orchard, supervisor, url):
    form = read_page(supervisor.get(f"{url}/1/edit")).values
    assert form["in_force_from"] == "2025-11-01"
    page = read_page(
        supervisor.post(f"{url}/1/edit", data={**form, "limbs-most": "3"}, follow_redirects=True)
    )
    assert "Version 1 was saved." in page.text
    assert "Take out the 2 to 3 largest limbs." in page.text

    begin_pass(database, orchard)

    for answer in (
        supervisor.get(f"{url}/1/edit"),
        supervisor.post(f"{url}/1/edit", data={**form, "limbs-most": "4"}),
    ):
        assert answer.status_code == 409
        assert "so it stays as it is. Write a new version." in read_page(answer).text
    page = read_page(supervisor.get(f"{url}/1"))
    assert f"{url}/1/edit" not in page.links
    assert "A pass has begun under version 1" in page.text
    assert standard(database, orchard, 1).limbs.most == 3


def test_the_block_says_which_version_holds(supervisor, url, form):
    supervisor.post(f"{url}/new", data={**form, "in_force_from": "2026-01-01"})
    supervisor.post(f"{url}/new", data={**form, "in_force_from": "2026-03-01"})

    text = read_page(supervisor.get(url.removesuffix("/standards"))).text
    assert "Version 3 Mar 1, 2026 Still to come Can still be changed" in text
    assert "Version 2 Jan 1, 2026 In force Can still be changed" in text
    assert "Version 1 Nov 1, 2025 Replaced Can still be changed" in text


def test_the_block_shows_the_target_of_the_standard_in_force(supervisor, url, form):
    supervisor.post(f"{url}/new", data={**form, "top-target_mm": "9 ft 6 in"})

    text = read_page(supervisor.get(url.removesuffix("/standards"))).text
    assert "9 ft 6 in as the standard says; 6 in below the top wire" in text


@pytest.mark.parametrize(
    ("habit", "flags", "rule", "limbs"),
    [
        (BearingHabit.TIP, {}, "forbidden", ("2", "2")),
        (BearingHabit.SPUR, {}, "off", ("2", "2")),
        (BearingHabit.SPUR, {"low_bloom": True}, "off", ("0", "1")),
        (BearingHabit.SEMI_SPUR, {"young": True}, "off", ("0", "1")),
    ],
)
def test_the_first_standard_follows_the_block(
    database, orchard, supervisor, habit, flags, rule, limbs
):
    block_id = farms.add_block(
        database,
        orchard.owner,
        name="Ridge",
        cultivar="Frost Lady",
        habit=habit,
        rootstock="",
        row_spacing_mm=3_000.0,
        tree_spacing_mm=1_000.0,
        **flags,
    )

    offered = read_page(supervisor.get(f"/blocks/{block_id}/standards/new"))
    assert offered.values["heading-rule"] == rule
    assert (offered.values["limbs-least"], offered.values["limbs-most"]) == limbs
    assert offered.values["top-target_mm"] == "2.7 m"
    assert offered.headings == ["Write the standard"]


def test_standards_of_another_farm_are_not_found(database, supervisor, form):
    other = plant_orchard(database, NOW, name="Cold Spring")
    url = f"/blocks/{other.block_id}/standards"

    for path in ("/new", "/1", "/1/edit"):
        assert supervisor.get(url + path).status_code == 404
    for path in ("/new", "/1/edit"):
        assert supervisor.post(url + path, data=form).status_code == 404
    assert count(database) == 2


def test_a_version_that_is_not_there_is_not_found(supervisor, url):
    assert supervisor.get(f"{url}/2").status_code == 404
    assert supervisor.get("/blocks/999/standards/new").status_code == 404


@pytest.mark.parametrize("path", ["/1", "/new", "/1/edit"])
def test_standards_are_no_page_for_workers(sign_in, url, path):
    assert sign_in(Role.WORKER).get(url + path).status_code == 403


@pytest.mark.parametrize("path", ["/1", "/new", "/1/edit"])
def test_every_page_has_one_heading_and_labels_in_spanish_too(sign_in, url, path):
    answer = sign_in(Role.OWNER, "es").get(url + path)

    page = read_page(answer)
    assert answer.status_code == 200
    assert '<html lang="es"' in answer.text
    assert len(page.headings) == 1
    assert page.unlabelled == []


def test_a_comma_is_read_as_a_decimal_mark(database, orchard, supervisor, url, form):
    supervisor.post(f"{url}/new", data={**form, "top-target_mm": "2,95 m"})

    assert standard(database, orchard, 2).top.target_mm == 2_950.0


def test_a_pass_of_an_earlier_day_keeps_the_version_of_that_day(
    database, orchard, supervisor, url, form
):
    supervisor.post(f"{url}/new", data={**form, "in_force_from": "2026-01-10"})

    with database.read() as connection:
        before = queries.standard_in_force(
            connection, orchard.farm_id, orchard.block_id, date(2026, 1, 9)
        )
        after = queries.standard_in_force(
            connection, orchard.farm_id, orchard.block_id, date(2026, 1, 10)
        )
    assert (before.version, after.version) == (1, 2)
