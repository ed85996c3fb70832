"""The shell: the page in the row, its service worker and its words, which a phone keeps."""

import json
import re
import shutil
from itertools import combinations
from pathlib import Path
from posixpath import dirname, normpath

import pytest

from audits.vocabulary import Role
from tests.tree import PROJECT
from tests.web.pages import read_page
from webapp import shells
from webapp.field import phrases
from webapp.field.phrases import OWN_PHRASES, PHRASES, VOCABULARY
from webapp.field.shell import build_shell
from webapp.translations import LANGUAGES as TRANSLATED

STATIC = PROJECT / "static"
SHELL = ("/field/", "/field/worker.js", "/field/phrases.json", "/field/manifest.webmanifest")
# What the server knows, and what only the server may answer.
NEVER_KEPT = ("sync", "packages", "token", "lots", "prepare", "photos", "enrol", "unlock", "audits")
PLACE = re.compile(r"%\((\w+)\)s")
IMPORT = re.compile(r"""(?:\bfrom|\bimport)\s*\(?\s*["']([^"']+)["']""")


@pytest.fixture
def visitor(app, orchard):
    """A browser of somebody who has not signed in."""
    assert orchard.farm_id
    return app.test_client()


@pytest.fixture
def listed(visitor) -> dict:
    """What the worker's first line says."""
    first = visitor.get("/field/worker.js").text.partition("\n")[0]
    assert first.startswith("const SHELL = ")
    assert first.endswith(";")
    return json.loads(first.removeprefix("const SHELL = ").removesuffix(";"))


def fetch(client, address: str):
    """Fetch a file to its end."""
    return client.get(address, buffered=True)


# --- the same for everybody ----------------------------------------------------------------------


@pytest.mark.parametrize("address", SHELL)
def test_everybody_gets_the_same_bytes(app, sign_in, visitor, address):
    seen = {visitor.get(address, headers={"Accept-Language": "es"}).data}
    seen |= {
        sign_in(role, language).get(address).data for role in Role for language in ("en", "es")
    }
    assert len(seen) == 1
    (content,) = seen
    for name in ("Brightwater", "Wetherell", "Aurelio", "Tule Hollow", "csrf"):
        assert name.encode() not in content
    assert app.name


def test_the_page_names_itself_and_says_in_both_languages_what_it_needs(visitor):
    answer = visitor.get("/field/")
    page = read_page(answer)
    assert page.title == "Pruning audit"
    assert " ".join(page.headings) == "Pruning audit / Revisión de poda"
    assert answer.text.count("<h1>") == 1
    for language in ("en", "es"):
        assert f'<p lang="{language}">' in answer.text.partition("<noscript>")[2]
    assert '<main id="field"' in answer.text
    assert '<script type="module" src="/static/js/field/app.js"></script>' in answer.text
    assert "Set-Cookie" not in answer.headers


# --- what is kept --------------------------------------------------------------------------------


def test_everything_that_the_page_needs_is_kept_and_is_there(visitor, listed):
    needed = set(re.findall(r'(?:href|src)="([^"]+)"', visitor.get("/field/").text)) - {"/"}
    needed |= {"/field/", "/field/phrases.json"}
    assert needed <= set(listed["files"])
    statuses = {address: fetch(visitor, address).status_code for address in listed["files"]}
    assert statuses == dict.fromkeys(listed["files"], 200)
    assert len(set(listed["files"])) == len(listed["files"])


def test_every_module_finds_what_it_imports_without_signal(visitor, listed):
    modules = [address for address in listed["files"] if address.endswith(".js")]
    assert len(modules) > 10
    for address in modules:
        for name in IMPORT.findall(fetch(visitor, address).text):
            assert normpath(f"{dirname(address)}/{name}") in listed["files"], (address, name)


def test_no_module_of_the_field_lies_about_unused(listed):
    there = {f"/static/js/field/{path.name}" for path in (STATIC / "js/field").glob("*.js")}
    assert there - set(listed["files"]) == {"/static/js/field/worker.js"}


def test_nothing_that_the_server_knows_is_kept(listed):
    for address in listed["files"]:
        part = address.removeprefix("/field/").partition("/")[0]
        assert part not in NEVER_KEPT
        assert address.startswith(("/static/", "/field/"))


def test_the_worker_is_asked_for_anew_each_time(visitor):
    answer = visitor.get("/field/worker.js")
    assert answer.mimetype == "text/javascript"
    assert answer.headers["Cache-Control"] == "no-cache"
    source = (STATIC / "js/field/worker.js").read_text(encoding="utf-8")
    assert answer.text.partition("\n")[2] == source


# --- the version ---------------------------------------------------------------------------------


@pytest.fixture
def copied(tmp_path) -> Path:
    return Path(shutil.copytree(STATIC, tmp_path / "static"))


def test_the_version_changes_with_any_file_and_with_nothing_else(app, orchard, listed, copied):
    assert orchard.farm_id
    with app.test_request_context():
        first = build_shell(copied)
        assert first.version == listed["version"]
        assert build_shell(copied) == first
        seen = {first.version}
        files = [path for path in listed["files"] if path.startswith("/static/")]
        for address in [*files, "/static/js/field/worker.js"]:
            path = copied / address.removeprefix("/static/")
            before = path.read_bytes()
            path.write_bytes(before + b"\n")
            seen.add(build_shell(copied).version)
            path.write_bytes(before)
        assert len(seen) == len(files) + 2
        # Pages of the office change without a phone taking a new shell.
        (copied / "css/standards.css").write_text("")
        assert build_shell(copied).version == first.version


def test_the_version_changes_with_the_words(app, orchard, copied, monkeypatch):
    assert orchard.farm_id
    with app.test_request_context():
        before = build_shell(copied).version
        monkeypatch.setitem(phrases.PHRASES, "stage.top", "Crown")
        assert build_shell(copied).version != before


def test_two_files_that_change_places_are_another_version():
    one = shells.version_of({"a": b"x\nb\n1\n", "b": b""})
    other = shells.version_of({"a": b"x\n", "b": b"b\n1\n"})
    assert one != other


# --- how it is installed -------------------------------------------------------------------------


def test_the_manifest_has_what_a_phone_asks_for(visitor):
    """Members as in W3C, Web Application Manifest; sizes as browsers ask (common practice)."""
    answer = visitor.get("/field/manifest.webmanifest")
    manifest = answer.json
    assert answer.mimetype == "application/manifest+json"
    assert (manifest["start_url"], manifest["scope"], manifest["id"]) == ("/field/",) * 3
    assert manifest["display"] == "standalone"
    assert manifest["name"] == "Pruning audit"
    assert {icon.get("purpose", "any") for icon in manifest["icons"]} == {"any", "maskable"}
    for icon in manifest["icons"]:
        assert fetch(visitor, icon["src"]).status_code == 200


# --- its words -----------------------------------------------------------------------------------


def test_every_phrase_is_there_in_every_language_with_the_same_places(visitor):
    texts = visitor.get("/field/phrases.json").json
    assert set(texts) == {"en", *TRANSLATED}
    for language in texts:
        assert texts[language].keys() == PHRASES.keys()
        for key, phrase in texts[language].items():
            english = texts["en"][key]
            assert type(phrase) is type(english), key
            assert places(phrase) == places(english), key
            assert all(parts(phrase)), key


def parts(phrase: str | dict[str, str]) -> list[str]:
    return [phrase] if isinstance(phrase, str) else [phrase["one"], phrase["other"]]


def places(phrase: str | dict[str, str]) -> set[str]:
    """Return the places of a phrase; the form for one may do without its number."""
    return {name for part in parts(phrase) for name in PLACE.findall(part)} - {"num"}


def test_no_two_parts_of_the_page_share_a_key():
    for one, other in combinations([VOCABULARY, *OWN_PHRASES], 2):
        assert not one.keys() & other.keys()
    assert sum(map(len, [VOCABULARY, *OWN_PHRASES])) == len(PHRASES)


def scripts() -> str:
    """Return the source of everything that the page runs, without its comments."""
    paths = [*(STATIC / "js/field").glob("*.js"), STATIC / "js/tiles.js"]
    text = "\n".join(path.read_text(encoding="utf-8") for path in paths)
    return re.sub(r"^\s*//.*$", "", text, flags=re.MULTILINE)


def keys_in(source: str) -> set[str]:
    """Return what looks like a key of a phrase: a text of words and points, in a known group."""
    groups = {key.partition(".")[0] for key in PHRASES}
    found = re.findall(r"""["'`]([a-z_]+(?:\.[a-z0-9_]+)+)["'`]""", source)
    return {key for key in found if key.partition(".")[0] in groups}


def test_every_phrase_that_the_page_asks_for_exists():
    source = scripts()
    said = set(re.findall(r"""\.(?:say|count)\(\s*["'`]([^"'`$]+)["'`]""", source))
    assert len(said) > 50
    assert said <= PHRASES.keys()
    assert keys_in(source) <= PHRASES.keys()


def test_every_counted_phrase_is_asked_for_with_its_number():
    source = scripts()
    counted = set(re.findall(r"""\.count\(\s*["'`]([^"'`$]+)["'`]""", source))
    plain = set(re.findall(r"""\.say\(\s*["'`]([^"'`$]+)["'`]""", source))
    assert {key for key in counted if isinstance(PHRASES[key], str)} == set()
    assert {key for key in plain if not isinstance(PHRASES[key], str)} == set()


def test_every_phrase_of_a_part_is_used():
    source = scripts()
    # Keys put together from a group and a value, such as `refused.${problem}`.
    made = set(re.findall(r"""`([a-z_.]+)\$\{""", source))
    unused = {
        key
        for part in OWN_PHRASES
        for key in part
        if f'"{key}"' not in source
        and f"`{key}`" not in source
        and not any(key.startswith(start) for start in made if start)
    }
    assert unused == set()


def test_a_phrase_that_is_missing_would_be_found():
    assert "kept.nowhere" in keys_in('words.say("kept.nowhere")')
    assert keys_in('words.say("kept.nowhere")') - PHRASES.keys()
