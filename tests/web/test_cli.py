"""The command line: sets up, prints, recomputes, and says plainly what is wrong."""

import re

import pypdfium2
import pytest
from click.testing import CliRunner
from scipy import stats

from audits.storage.database import Database
from audits.storage.tables import print_batch
from tests.orchard import plant_orchard
from tests.web.conftest import NOW
from webapp.cli import main

PASSWORD = "a sentence that opens the gate"  # noqa: S105 - opens nothing but a test's farm


@pytest.fixture
def run(tmp_path):
    """Run a command on a data folder of its own."""

    def run(*arguments, language="en", **options):
        return CliRunner().invoke(
            main, ["--data", str(tmp_path), "--language", language, *arguments], **options
        )

    return run


@pytest.fixture
def farm_folder(tmp_path, run):
    """A folder with the invented farm of tests/orchard.py."""
    assert run("rescore", "--check").exit_code == 1, "no farm yet, but the tables are there"
    database = Database(f"sqlite:///{tmp_path / 'farm.db'}")
    orchard = plant_orchard(database, NOW)
    database.close()
    return orchard


def init(run, *, password=PASSWORD, **options):
    return run("init", "--farm", "Alkali Flat", "--owner", "Oda", "--password", password, **options)


def test_a_farm_is_set_up_once(run):
    first, second = init(run), init(run)
    assert first.exit_code == 0, first.output
    assert "Alkali Flat is set up" in first.output
    assert second.exit_code == 1
    assert "set up here already" in second.output


def test_a_short_password_sets_nothing_up(run):
    refused = init(run, password="short")  # noqa: S106 - refused
    assert refused.exit_code == 1
    assert "at least 15 characters" in refused.output
    assert init(run).exit_code == 0, "nothing was left half done"


def test_serving_without_a_farm_says_what_to_do(run):
    refused = run("serve")
    assert refused.exit_code == 1
    assert "pruning-audit init" in refused.output


@pytest.mark.parametrize(
    "command", ["init", "serve", "demo", "rescore", "compare", "card", "quiz", "sheet", "plan"]
)
def test_every_command_has_its_help(run, command):
    shown = run(command, "--help")
    assert shown.exit_code == 0
    assert "Usage" in shown.output


@pytest.mark.usefixtures("farm_folder")
def test_cards_are_written_in_both_languages_by_default(run, tmp_path):
    path = tmp_path / "cards.pdf"
    printed = run("card", "--block", "Creek Block", "--output", str(path))
    # The standard of the invented farm is in force since November 2025.
    assert printed.exit_code == 0, printed.output
    document = pypdfium2.PdfDocument(path)
    text = "".join(page.get_textpage().get_text_bounded() for page in document)
    document.close()
    assert "limbs" in text
    assert "ramas" in text


@pytest.mark.usefixtures("farm_folder")
def test_printed_cards_are_a_batch_for_a_whole_crew(run, tmp_path):
    path = tmp_path / "deck.pdf"
    printed = run(
        *("card", "--block", "Creek Block", "--crew", "crew a", "--format", "id_1"),
        *("--address", "https://farm.local:8443/", "--output", str(path)),
    )
    assert printed.exit_code == 0, printed.output
    assert "batch B1" in printed.output
    document = pypdfium2.PdfDocument(path)
    text = " ".join(page.get_textpage().get_text_bounded() for page in document)
    document.close()
    assert "Nélida" in text
    assert "B1" in text
    database = Database(f"sqlite:///{tmp_path / 'farm.db'}")
    with database.read() as connection:
        (batch,) = connection.execute(print_batch.select()).all()
    database.close()
    assert batch.made_by is None
    assert batch.copies == 6
    assert batch.choices["address"] == "https://farm.local:8443/"


SHEETS = {
    "coaching": ["--worker", "w4"],
    "crew": ["--crew", "Crew A", "--in", "es"],
    "model-trees": ["--block", "creek block"],
    "safety": ["--crew", "Crew A", "--method", "platform"],
    "no-start": ["--crew", "Crew A", "--method", "platform"],
    "training": ["--worker", "Tess Harrowgate"],
    "season": ["--page", "a4"],
    "gauges": ["--block", "Creek Block", "--copies", "2"],
    "poster": ["--block", "Creek Block", "--page", "a3"],
    "duplex-test": [],
}


@pytest.mark.usefixtures("farm_folder")
@pytest.mark.parametrize("kind", SHEETS)
def test_sheets_are_written(run, tmp_path, kind):
    path = tmp_path / "sheet.pdf"
    printed = run("sheet", kind, *SHEETS[kind], "--output", str(path))
    assert printed.exit_code == 0, printed.output
    assert path.read_bytes().startswith(b"%PDF")


@pytest.mark.usefixtures("farm_folder")
@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (["card"], "--block: this must be given. There is: Creek Block"),
        (["card", "--block", "Creek Block", "--copies", "0"], "--copies: Print between 1 and"),
        (["card", "--block", "Creek Block", "--crew", "Crew Z"], '--crew: there is no "Crew Z"'),
        (
            ["card", "--block", "Creek Block", "--style", "large_print", "--stage", "top"],
            "leave one out",
        ),
        (
            ["card", "--block", "Creek Block", "--style", "large_print", "--format", "id_1"],
            "--style: Large print needs a larger card",
        ),
        (["sheet", "coaching"], "--worker: this must be given."),
        (["sheet", "coaching", "--worker", "W1", "--block", "x"], "--block: this is not chosen"),
        (["sheet", "certificate", "--worker", "W1"], "--worker: Nothing was signed off"),
        (["sheet", "tally", "--audit", "7"], '--audit: there is no "7"'),
        (["sheet", "rework", "--order", "7"], '--order: there is no "7"'),
        (
            ["sheet", "poster", "--block", "Creek Block", "--page", "a4"],
            '--page: there is no "a4". There is: tabloid, a3.',
        ),
    ],
)
def test_what_cannot_be_printed_says_at_which_option(run, tmp_path, arguments, sentence):
    refused = run(*arguments, "--output", str(tmp_path / "paper.pdf"))
    assert refused.exit_code == 1, refused.output
    assert sentence in refused.output
    assert not (tmp_path / "paper.pdf").exists()


@pytest.mark.usefixtures("farm_folder")
def test_a_quiz_is_the_same_for_the_same_seed(run, tmp_path):
    paths = [tmp_path / name for name in ("one.pdf", "two.pdf")]
    for path in paths:
        printed = run("quiz", "--block", "creek block", "--seed", "11", "--output", str(path))
        assert printed.exit_code == 0, printed.output
    assert paths[0].read_bytes() == paths[1].read_bytes()


@pytest.mark.usefixtures("farm_folder")
def test_an_unknown_block_is_answered_with_those_there_are(run):
    refused = run("card", "--block", "Moon Block")
    assert refused.exit_code == 1
    assert '"Moon Block"' in refused.output
    assert "Creek Block" in refused.output


@pytest.mark.usefixtures("farm_folder")
def test_what_is_printed_here_speaks_spanish_too(run):
    refused = run("card", "--block", "Creek Block", "--copies", "many", language="es")
    assert "--copies: Escriba un número entero" in refused.output


@pytest.mark.usefixtures("farm_folder")
def test_a_folder_that_cannot_be_written_is_named(run, tmp_path):
    refused = run(
        "card", "--block", "Creek Block", "--output", str(tmp_path / "nowhere" / "cards.pdf")
    )
    assert refused.exit_code == 1
    assert "cannot be written" in refused.output
    written = run("card", "--block", "Creek Block", "--output", str(tmp_path / "cards.pdf"))
    assert "batch B1." in written.output, "what could not be kept was not recorded"


@pytest.mark.usefixtures("farm_folder")
def test_recomputing_an_empty_season_finds_nothing(run):
    checked = run("rescore", "--check")
    assert checked.exit_code == 0, checked.output
    assert "0 differences" in checked.output


def test_a_plan_is_printed_without_a_farm(run, tmp_path):
    printed = run("plan", "--trees", "310")
    assert printed.exit_code == 0, printed.output
    assert not list(tmp_path.iterdir()), "no database was made"
    for line in (
        "Plan for a lot of 310 trees, 4 stages",
        "Else walk back: 13 more trees, up to 4 of 33 allowed.",
        "A row with 5 in 100 bad trees passes 99 times in 100; one with 25 in 100 passes 10 times.",
        "A row that is good in every stage goes back 4 times in 100, by chance alone.",
    ):
        assert line in printed.output


def test_the_curve_of_a_printed_plan_is_that_of_the_hypergeometric_law(run):
    printed = run("plan", "--trees", "310", "--method", "single")
    assert "Walk a loop: 30 trees" in printed.output
    rows = re.findall(
        r"^ *(\d+) +([\d.]+) +.*? +([01]\.\d{4}) +([\d.]+)$", printed.output, re.MULTILINE
    )
    assert len(rows) >= 10
    for bad, in_hundred, chance, _ in rows:
        # Accepted with up to 4 of 30. Nothing is rounded to sure or to impossible.
        exact = stats.hypergeom(310, int(bad), 30).cdf(4)
        shown = exact if exact == 1 else min(0.9999, max(0.0001, exact))
        assert float(chance) == pytest.approx(shown, abs=0.00005)
        assert float(in_hundred) == pytest.approx(100 * int(bad) / 310, abs=0.05)


def test_the_columns_of_a_printed_plan_stand_under_each_other(run):
    lines = run("plan", "--trees", "310").output.splitlines()
    start = next(number for number, line in enumerate(lines) if line.startswith("Bad trees"))
    assert len({len(line) for line in lines[start:]}) == 1


def test_every_choice_of_a_printed_plan_counts(run):
    printed = run(
        *("plan", "--trees", "310", "--acceptable", "2,5 %", "--rejectable", "0.2"),
        *("--producer-risk", "2%", "--consumer-risk", "5%", "--stages", "1", "--waves", "3"),
        *("--seconds", "30"),
    ).output
    assert "one stage" in printed.splitlines()[0]
    assert "A row with 2.5 in 100 bad trees passes" in printed
    assert "one with 20 in 100 passes 5 times." in printed
    assert "at 30 seconds a tree" in printed
    risk = re.search(r"good in every stage goes back (\d+|less than 1) time", printed)[1]
    assert risk in {"less than 1", "1", "2"}


# MIL-STD-105E, Table II-C: letter H under reduced inspection is 20 trees, AQL 6.5 has 3 and 6.
def test_a_plan_of_the_tables_can_be_printed(run):
    printed = run("plan", "--trees", "310", "--method", "table", "--inspection", "reduced").output
    assert "Table II-C of MIL-STD-105E, reduced inspection" in printed
    assert "Walk a loop: 20 trees" in printed
    assert "With more than 3 and less than 6 bad trees it is still accepted" in printed
    assert "The AQL is no acceptable fraction." in printed
    double = run("plan", "--trees", "310", "--method", "table", "--kind", "double", "--aql", "10")
    assert "Table III-A" in double.output
    assert "AQL 10" in double.output


def test_a_plan_is_printed_in_spanish_too(run):
    english = run("plan", "--trees", "310").output
    ahead = run("plan", "--trees", "310", language="es").output
    behind = run("plan", "--trees", "310", "--language", "es").output
    assert ahead == behind != english
    assert "Else walk back" not in ahead
    assert "árboles" in ahead


@pytest.mark.parametrize(
    ("changes", "option", "sentence"),
    [
        ({"--trees": "ten"}, "--trees", "Write a whole number such as 310"),
        ({"--trees": "0"}, "--trees", "at least 1"),
        ({"--trees": "1", "--method": "table"}, "--trees", "2 trees or more"),
        ({"--acceptable": "5"}, "--acceptable", "a percentage such as 5% or a fraction"),
        ({"--acceptable": "30%"}, "--acceptable", "must be below the rejectable one"),
        ({"--rejectable": "100%"}, "--rejectable", "Must be less than 100 %"),
        ({"--producer-risk": "120%"}, "--producer-risk", "Must be less than 50 %"),
        ({"--consumer-risk": "0%"}, "--consumer-risk", "Must be more than 0 %"),
        ({"--stages": "5"}, "--stages", "There are 4 stages at most."),
        ({"--waves": "9"}, "--waves", "Must be at most 3."),
        ({"--aql": "5", "--method": "table"}, "--aql", "The tables have no such quality limit"),
        ({"--aql": "little"}, "--aql", "Write a number such as 6.5."),
        ({"--seconds": "-3"}, "--seconds", "Write a number such as 6.5."),
    ],
)
def test_a_plan_that_cannot_be_says_what_to_change(run, changes, option, sentence):
    given = {"--trees": "310"} | changes
    refused = run("plan", *(part for pair in given.items() for part in pair))
    assert refused.exit_code == 1
    line = next(line for line in refused.output.splitlines() if option in line)
    assert sentence in line


def test_every_option_at_fault_is_named_at_once(run):
    refused = run("plan", "--trees", "ten", "--acceptable", "some", "--aql", "x").output
    assert all(option in refused for option in ("--trees", "--acceptable", "--aql"))
