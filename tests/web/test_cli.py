"""The command line: sets up, prints, recomputes, and says plainly what is wrong."""

import pypdfium2
import pytest
from click.testing import CliRunner

from audits.storage.database import Database
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


@pytest.mark.parametrize("command", ["init", "serve", "demo", "rescore", "card", "quiz"])
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
    refused = run("card", "--block", "Moon Block", language="es")
    assert "El bloque" in refused.output or "el bloque" in refused.output


@pytest.mark.usefixtures("farm_folder")
def test_a_folder_that_cannot_be_written_is_named(run, tmp_path):
    refused = run(
        "card", "--block", "Creek Block", "--output", str(tmp_path / "nowhere" / "cards.pdf")
    )
    assert refused.exit_code == 1
    assert "cannot be written" in refused.output


@pytest.mark.usefixtures("farm_folder")
def test_recomputing_an_empty_season_finds_nothing(run):
    checked = run("rescore", "--check")
    assert checked.exit_code == 0, checked.output
    assert "0 differences" in checked.output
