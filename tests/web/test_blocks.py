"""Blocks, rows and the planting map, as a supervisor meets them."""

from datetime import date

import pytest
import sqlalchemy as sa

from audits.services import farms
from audits.storage import tables
from audits.storage.queries import farms as queries
from audits.vocabulary import Role
from tests.orchard import plant_orchard
from tests.web.conftest import NOW
from tests.web.pages import read_page

BLOCK = {
    "name": "Ridge",
    "cultivar": "Hollow Red",
    "rootstock": "M.9",
    "habit": "spur",
    "row_spacing_mm": "11 ft",
    "tree_spacing_mm": "3 ft",
}
ROWS = {"first_number": "7", "start_end": "north", "tree_count": "40", "since": "2020-04-01"}
PLANTING = {"first_position": "5", "kind": "dead", "since": "2026-01-20"}


def count(database, table) -> int:
    with database.read() as connection:
        return connection.scalar(sa.select(sa.func.count()).select_from(table))


@pytest.fixture
def block_url(orchard) -> str:
    return f"/blocks/{orchard.block_id}"


@pytest.fixture
def row_url(orchard, block_url) -> str:
    return f"{block_url}/rows/{orchard.row_ids[0]}"


def test_a_block_shows_density_target_height_and_bearing_trees(supervisor, block_url):
    page = read_page(supervisor.get(block_url))

    assert page.headings == ["Creek Block"]
    for fact in (
        "1,320",
        "trees per acre",
        "3,262 trees per hectare",
        "9 ft 11 in",
        "0.9 times the row spacing; 1 in below the top wire",
        "1,860",
    ):
        assert fact in page.text


def test_a_block_leads_to_its_pass_and_its_prints_once_it_has_rows_and_a_standard(
    supervisor, block_url
):
    links = read_page(supervisor.get(block_url)).links
    assert {"/passes/new/1", "/print?block_id=1"} <= set(links)

    bare = supervisor.post("/blocks/new", data=BLOCK).location
    assert not any("/passes/new/" in link for link in read_page(supervisor.get(bare)).links)


def test_a_metric_farm_reads_hectares_first(database, orchard, supervisor, block_url):
    farms.edit_farm(
        database,
        orchard.owner,
        name="Tule Hollow",
        units="metric",
        region="MX",
        language="es",
        time_zone="America/Mexico_City",
        season_start_month=11,
    )

    text = read_page(supervisor.get(block_url)).text
    assert "trees per hectare 3,262 1,320 trees per acre" in text
    assert "target height 3.02 m" in text
    assert "3.35 m x 91.4 cm" in text or "3.35 m x 91 cm" in text


def test_the_list_says_which_block_has_no_standard(supervisor):
    supervisor.post("/blocks/new", data=BLOCK)

    text = read_page(supervisor.get("/blocks")).text
    assert "Creek Block Hollow Red on M.9; 6 rows with 1,860 positions; 11 ft x 3 ft" in text
    assert "Standard 1" in text
    assert "Ridge Hollow Red on M.9; No rows yet; 11 ft x 3 ft No standard yet" in text


@pytest.mark.parametrize(
    ("typed", "height"),
    [
        ("11 ft", "9 ft 11 in"),
        ("9'11\"", "8 ft 11 in"),
        ("9.9 ft", "8 ft 11 in"),
        ("3.35 m", "9 ft 11 in"),
        ("132 in", "9 ft 11 in"),
    ],
)
def test_lengths_are_read_the_way_people_write_them(supervisor, typed, height):
    answer = supervisor.post("/blocks/new", data={**BLOCK, "row_spacing_mm": typed})

    assert answer.status_code == 302
    assert f"target height {height}" in read_page(supervisor.get(answer.location)).text


@pytest.mark.parametrize(
    ("change", "field", "sentence"),
    [
        (
            {"row_spacing_mm": "wide"},
            "row_spacing_mm",
            'Cannot read "wide" as a length. Write it like 9 ft 11 in, 6 in or 9.9 ft.',
        ),
        ({"row_spacing_mm": ""}, "row_spacing_mm", "Fill in this length."),
        (
            {"row_spacing_mm": "0 ft"},
            "row_spacing_mm",
            '"0 ft" is too short: it must be more than zero.',
        ),
        (
            {"tree_spacing_mm": "0"},
            "tree_spacing_mm",
            'Cannot read "0" as a length. Write it like 9 ft 11 in, 6 in or 9.9 ft.',
        ),
        ({"row_spacing_mm": "11 in"}, "row_spacing_mm", "Must be from 3 ft 3 in to 39 ft 4 in."),
        (
            {"top_wire_mm": "3 miles"},
            "top_wire_mm",
            'Cannot read "3 miles" as a length. Write it like 9 ft 11 in, 6 in or 9.9 ft.',
        ),
        ({"planting_year": "last year"}, "planting_year", "Write a whole number, such as 12."),
        ({"planting_year": "1066"}, "planting_year", "Must be from 1900 to 2026."),
        ({"planting_year": "2027"}, "planting_year", "Must be from 1900 to 2026."),
        ({"name": "  "}, "name", "Give the block a name."),
        ({"name": "creek block"}, "name", "Another block has this name."),
        ({"cultivar": ""}, "cultivar", "Name the cultivar."),
        ({"habit": ""}, "habit", "Choose one."),
        ({"name": "x" * 81}, "name", "Use at most 80 characters."),
    ],
)
def test_a_bad_block_is_refused_at_its_field(database, supervisor, change, field, sentence):
    answer = supervisor.post("/blocks/new", data={**BLOCK, **change})

    page = read_page(answer)
    assert answer.status_code == 422
    assert page.problems == {field: sentence}
    assert "Nothing was saved yet" in page.text
    assert count(database, tables.block) == 1


def test_what_was_typed_stays_in_the_form(supervisor):
    page = read_page(supervisor.post("/blocks/new", data={**BLOCK, "row_spacing_mm": "wide"}))

    assert page.values == {
        **BLOCK,
        "row_spacing_mm": "wide",
        "planting_year": "",
        "top_wire_mm": "",
        "emergency_location": "",
    }


def test_a_block_is_changed(database, orchard, supervisor, block_url):
    form = read_page(supervisor.get(f"{block_url}/edit")).values
    assert form["row_spacing_mm"] == "11 ft"
    answer = supervisor.post(
        f"{block_url}/edit",
        data={**form, "tree_spacing_mm": "1.1 m", "low_bloom": "y", "planting_year": ""},
    )

    assert answer.status_code == 302
    with database.read() as connection:
        block = queries.block_by_id(connection, orchard.farm_id, orchard.block_id)
    assert (block.tree_spacing_mm, block.low_bloom, block.planting_year) == (1100.0, True, None)
    assert block.row_spacing_mm == 11 * 304.8


def test_a_retired_block_is_listed_apart(supervisor, block_url):
    form = read_page(supervisor.get(f"{block_url}/edit")).values
    supervisor.post(f"{block_url}/edit", data={**form, "retired": "y"})

    text = read_page(supervisor.get("/blocks")).text
    assert text.index("No longer pruned") < text.index("Creek Block")


def test_rows_are_added_together(supervisor, block_url):
    answer = supervisor.post(
        f"{block_url}/rows/new", data={**ROWS, "last_number": "9"}, follow_redirects=True
    )

    text = read_page(answer).text
    assert "3 rows were added." in text
    assert "Row 9 starts at north 40 bearing trees" in text


@pytest.mark.parametrize(
    ("change", "field", "sentence"),
    [
        ({"first_number": "6"}, "first_number", "The block has a row 6 already."),
        (
            {"first_number": "5", "last_number": "8"},
            "first_number",
            "The block has rows 5, 6 already.",
        ),
        ({"first_number": ""}, "first_number", "Fill in this number."),
        ({"first_number": "seven"}, "first_number", "Write a whole number, such as 12."),
        ({"first_number": "-7"}, "first_number", "Write a whole number, such as 12."),
        ({"first_number": "0"}, "first_number", "Must be from 1 to 9999."),
        ({"last_number": "3"}, "last_number", "The last row comes before the first."),
        ({"tree_count": "0"}, "tree_count", "Must be from 1 to 5000."),
        ({"tree_count": "5001"}, "tree_count", "Must be from 1 to 5000."),
        (
            {"start_end": ""},
            "start_end",
            "Say at which end the row starts, such as north or road.",
        ),
        (
            {"since": "01/20/2026"},
            "since",
            "Write the day as year-month-day, such as 2026-01-20.",
        ),
        (
            {"since": "2026-02-30"},
            "since",
            "Write the day as year-month-day, such as 2026-01-20.",
        ),
        ({"since": ""}, "since", "Fill in this day."),
        ({"since": "0201-01-20"}, "since", "Check the year of this day."),
        (
            {"posts": "3", "trees_per_panel": "9"},
            "posts",
            "3 posts with 9 trees to a panel have room for at most 36 trees.",
        ),
    ],
)
def test_bad_rows_are_refused_at_their_field(
    database, supervisor, block_url, change, field, sentence
):
    answer = supervisor.post(f"{block_url}/rows/new", data={**ROWS, **change})

    assert answer.status_code == 422
    assert read_page(answer).problems == {field: sentence}
    assert count(database, tables.orchard_row) == 6


def test_trees_are_taken_to_stand_there_since_the_block_was_planted(supervisor, block_url):
    assert read_page(supervisor.get(f"{block_url}/rows/new")).values["since"] == "2018-01-01"


def test_a_row_says_what_stands_where(supervisor, row_url):
    page = read_page(supervisor.get(row_url))

    assert page.headings == ["Row 1"]
    assert "1 - 310 Bearing tree Hollow Red 2018 Apr 10, 2018 panel 1, tree 1" in page.text


def test_a_correction_of_the_map_shows_with_its_place_and_keeps_the_history(supervisor, row_url):
    answer = supervisor.post(
        row_url,
        data={**PLANTING, "first_position": "187", "last_position": "188"},
        follow_redirects=True,
    )

    text = read_page(answer).text
    assert "The map of row 1 was corrected." in text
    assert "187 - 188 Dead tree - - Jan 20, 2026 panel 19, tree 7" in text
    assert "1 - 186 Bearing tree" in text
    assert "189 - 310 Bearing tree" in text
    assert "bearing trees 308" in text
    assert "Every entry, by its day" in text


@pytest.mark.parametrize(
    ("change", "field", "sentence"),
    [
        (
            {"first_position": "311"},
            "first_position",
            "Position 311 does not exist: the row ends at position 310.",
        ),
        (
            {"first_position": "300", "last_position": "320"},
            "last_position",
            "Position 320 does not exist: the row ends at position 310.",
        ),
        (
            {"first_position": "9", "last_position": "4"},
            "last_position",
            "The last position, 4, comes before the first, 9.",
        ),
        ({"first_position": "0"}, "first_position", "Positions are counted from 1."),
        ({"kind": ""}, "kind", "Choose one."),
        ({"since": "2026-01-21"}, "since", "This day is still to come."),
        (
            {"kind": "replant", "year": "2027"},
            "year",
            "It stands there since Jan 20, 2026, so it was not planted as late as 2027.",
        ),
        (
            {"kind": "bearing", "cultivar": "Frost Lady"},
            "cultivar",
            "This block is Hollow Red. For anything else choose another kind of tree.",
        ),
    ],
)
def test_a_bad_correction_is_refused_at_its_field(
    database, supervisor, row_url, change, field, sentence
):
    answer = supervisor.post(row_url, data={**PLANTING, **change})

    assert answer.status_code == 422
    assert read_page(answer).problems == {field: sentence}
    assert count(database, tables.planting) == 6


def test_a_row_is_changed(supervisor, row_url):
    form = read_page(supervisor.get(f"{row_url}/edit")).values
    assert form == {
        "number": "1",
        "start_end": "north",
        "tree_count": "310",
        "posts": "32",
        "trees_per_panel": "10",
    }
    answer = supervisor.post(f"{row_url}/edit", data={**form, "number": "2"})
    assert read_page(answer).problems == {"number": "The block has a row 2 already."}
    answer = supervisor.post(
        f"{row_url}/edit", data={**form, "tree_count": "312"}, follow_redirects=True
    )
    assert "bearing trees 312" in read_page(answer).text


def test_the_map_follows_the_day_on_the_farm(database, orchard, supervisor, row_url):
    # 17:00 UTC on the 20th is noon on the farm: the 20th is today there, the 21st still to come.
    farms.add_planting(
        database,
        orchard.owner,
        orchard.row_ids[0],
        first_position=3,
        last_position=3,
        kind="missing",
        since=date(2026, 1, 21),
    )

    assert "bearing trees 310" in read_page(supervisor.get(row_url)).text


PATHS = ["", "/edit", "/rows/new", "/rows/{row}", "/rows/{row}/edit"]


@pytest.mark.parametrize("path", PATHS)
def test_another_farms_block_is_not_found(database, supervisor, path):
    other = plant_orchard(database, NOW, name="Cold Spring")
    url = f"/blocks/{other.block_id}" + path.format(row=other.row_ids[0])

    assert supervisor.get(url).status_code == 404
    assert supervisor.post(url, data={}).status_code in (404, 405)


def test_an_address_with_an_impossible_number_is_not_found(supervisor):
    assert supervisor.get("/blocks/99999999999999999999").status_code == 404
    assert supervisor.get("/blocks/0").status_code == 404


def test_a_row_is_not_found_under_another_block(supervisor, orchard):
    block_url = supervisor.post("/blocks/new", data=BLOCK).location

    assert supervisor.get(f"{block_url}/rows/{orchard.row_ids[0]}").status_code == 404


@pytest.mark.parametrize("path", ["/blocks", "/blocks/new", "/blocks/1", "/blocks/1/rows/1"])
def test_workers_see_no_blocks(sign_in, path):
    assert sign_in(Role.WORKER).get(path).status_code == 403


@pytest.mark.parametrize("language", ["en", "es"])
@pytest.mark.parametrize(
    "path", ["/blocks", "/blocks/new", *(f"/blocks/1{path}".format(row=1) for path in PATHS)]
)
def test_every_page_has_one_heading_and_labels_in_both_languages(sign_in, path, language):
    answer = sign_in(Role.OWNER, language).get(path)

    page = read_page(answer)
    assert answer.status_code == 200
    assert f'<html lang="{language}"' in answer.text
    assert len(page.headings) == 1
    assert page.unlabelled == []


def test_a_farm_without_blocks_is_led_to_the_first(database, supervisor):
    with database.write() as connection:
        connection.execute(tables.block.update().values(retired=True))

    page = read_page(supervisor.get("/blocks"))
    assert "No block yet." in page.text
    assert "/blocks/new" in page.links


def test_problems_read_in_spanish_with_what_was_typed(sign_in):
    client = sign_in(Role.SUPERVISOR, "es")
    answer = client.post("/blocks/new", data={**BLOCK, "row_spacing_mm": "ancho"})

    assert answer.status_code == 422
    assert '<html lang="es"' in answer.text
    assert "ancho" in read_page(answer).problems["row_spacing_mm"]
