"""The catalogues' own tool: it finds every text, keeps what is translated, and says what is not."""

from functools import partial
from gettext import GNUTranslations
from types import SimpleNamespace

import pytest
from click.testing import CliRunner

from webapp import translations
from webapp.translations import __main__ as commands

PYTHON = """
from audits.messages import mark, say, say_n

HIGH = mark("too high")
# Translators: the end of a walk along a row.
DONE = say("Row %(row)s is done.", row=1)
COUNT = say_n("%(count)s tree", "%(count)s trees", 3)
NOT_A_TEXT = print("left alone")
"""
PAGE = '<h1>{{ _("Today") }}</h1>{{ ngettext("%(num)s lot", "%(num)s lots", lots) }}'
SPANISH = {
    "too high": "muy alto",
    "Row %(row)s is done.": "La hilera %(row)s está lista.",
    "%(count)s tree": ("un árbol", "%(count)s árboles"),
    "Today": "Hoy",
    "%(num)s lot": ("%(num)s tanda", "%(num)s tandas"),
}


@pytest.fixture
def source(tmp_path):
    for package in translations.PACKAGES:
        (tmp_path / package).mkdir()
    (tmp_path / "audits" / "texts.py").write_text(PYTHON, encoding="utf-8")
    templates = tmp_path / "webapp" / "templates" / "today"
    templates.mkdir(parents=True)
    (templates / "page.html").write_text(PAGE, encoding="utf-8")
    return tmp_path


@pytest.fixture
def folder(tmp_path):
    return tmp_path / "webapp" / "translations"


@pytest.fixture
def path(folder):
    return translations.catalogue_path("es", folder)


@pytest.fixture
def translated(source, folder, path):
    """A catalogue with a translation for every text."""
    translations.update(folder, source)
    write_translations(path, SPANISH)
    assert translations.problems(folder, source) == []
    return path


def write_translations(path, texts):
    catalogue = translations.read_catalogue(path, "es")
    for english, spanish in texts.items():
        catalogue.get(english).string = spanish
    translations._write_catalogue(path, catalogue)


def test_texts_are_found_in_python_and_in_templates(source):
    found = {message.id: message for message in translations.extract(source) if message.id}
    assert set(found) == {
        "too high",
        "Row %(row)s is done.",
        ("%(count)s tree", "%(count)s trees"),
        "Today",
        ("%(num)s lot", "%(num)s lots"),
    }
    assert found["Today"].locations == [("webapp/templates/today/page.html", 1)]
    assert found["Row %(row)s is done."].auto_comments == ["the end of a walk along a row."]


def test_a_template_that_cannot_be_read_is_an_error(source):
    (source / "webapp" / "templates" / "broken.html").write_text("{{ _('Today') }")
    with pytest.raises(Exception, match="unexpected '}'"):
        translations.extract(source)


def test_a_missing_catalogue_is_a_problem(source, folder):
    assert translations.problems(folder, source) == ["es: there is no catalogue"]


def test_a_new_catalogue_lacks_every_translation(source, folder):
    translations.update(folder, source)
    found = translations.problems(folder, source)
    assert len(found) == len(SPANISH)
    assert all("not translated" in problem for problem in found)


def test_an_update_keeps_translations_and_changes_nothing_else(source, folder, translated):
    before = translated.read_text(encoding="utf-8")
    assert translations.update(folder, source) == []
    # More lines above a text move it, but the catalogue does not say where it stood.
    (source / "audits" / "texts.py").write_text("\n\n" + PYTHON, encoding="utf-8")
    assert translations.update(folder, source) == []
    assert translated.read_text(encoding="utf-8") == before


def test_a_changed_text_is_new_and_never_a_guess(source, folder, translated):
    changed = PYTHON.replace("is done.", "is done!")
    (source / "audits" / "texts.py").write_text(changed, encoding="utf-8")
    assert set(translations.problems(folder, source)) == {
        "es: not in the catalogue (run update): 'Row %(row)s is done!'",
        "es: no longer in the source (run update): 'Row %(row)s is done.'",
    }
    assert translations.update(folder, source) == [translated]
    assert translations.problems(folder, source) == ["es: not translated: 'Row %(row)s is done!'"]
    assert "fuzzy" not in translated.read_text(encoding="utf-8")


def test_a_text_that_gains_a_plural_is_not_marked_fuzzy(source, folder, translated):
    changed = PYTHON.replace('mark("too high")', 'say_n("too high", "all too high", 2)')
    (source / "audits" / "texts.py").write_text(changed, encoding="utf-8")
    translations.update(folder, source)
    assert translations.problems(folder, source) == ["es: not translated: 'too high'"]
    assert "fuzzy" not in translated.read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("english", "spanish", "problem"),
    [
        ("Row %(row)s is done.", "La hilera está lista.", "places differ (row)"),
        ("Row %(row)s is done.", "%(row)s, %(name)s", "places differ (name)"),
        ("Today", "Hoy ", "space at the start or end differs"),
        ("Today", "", "not translated"),
        ("%(count)s tree", ("un árbol", ""), "not translated"),
        ("%(count)s tree", ("un árbol", "varios árboles"), "places differ (count)"),
    ],
)
def test_a_faulty_translation_is_a_problem(source, folder, translated, english, spanish, problem):
    write_translations(translated, {english: spanish})
    assert translations.problems(folder, source) == [f"es: {problem}: {english!r}"]


def test_a_fuzzy_translation_is_a_problem(source, folder, translated):
    text = translated.read_text(encoding="utf-8")
    translated.write_text(
        text.replace('msgid "Today"', '#, fuzzy\nmsgid "Today"'), encoding="utf-8"
    )
    assert translations.problems(folder, source) == ["es: marked fuzzy: 'Today'"]


def test_a_compiled_catalogue_speaks_and_is_made_again_only_when_it_changed(folder, translated):
    compiled = translated.with_suffix(".mo")
    assert translations.compile_catalogs(folder) == [compiled]
    with compiled.open("rb") as file:
        spoken = GNUTranslations(file)
    assert spoken.gettext("Today") == "Hoy"
    assert spoken.ngettext("%(count)s tree", "%(count)s trees", 1) == "un árbol"
    assert spoken.ngettext("%(count)s tree", "%(count)s trees", 2) == "%(count)s árboles"
    assert translations.compile_catalogs(folder) == []
    write_translations(translated, {"Today": "Este día"})
    assert translations.compile_catalogs(folder) == [compiled]


@pytest.fixture
def here(monkeypatch, source, folder):
    """Let the commands work on the small source instead of the project."""
    on_the_source = SimpleNamespace(
        extract=partial(translations.extract, source),
        update=partial(translations.update, folder, source),
        compile_catalogs=partial(translations.compile_catalogs, folder),
        problems=partial(translations.problems, folder, source),
    )
    monkeypatch.setattr(commands, "translations", on_the_source)


@pytest.mark.usefixtures("here")
def test_the_commands_lead_from_the_source_to_a_complete_catalogue(path):
    run = CliRunner().invoke
    assert 'msgid "Today"' in run(commands.main, ["extract"]).output
    missing = run(commands.main, ["check"])
    assert missing.exit_code == 1
    assert "es: there is no catalogue" in missing.output
    assert f"Updated {path}" in run(commands.main, ["update"]).output
    assert run(commands.main, ["update"]).output == "Nothing changed.\n"
    write_translations(path, SPANISH)
    complete = run(commands.main, ["check"])
    assert (complete.exit_code, complete.output) == (0, "The catalogues are complete.\n")
    assert f"Compiled {path.with_suffix('.mo')}" in run(commands.main, ["compile"]).output
