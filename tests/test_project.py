"""The project as a whole: what lies in it, which way it imports, what it needs, what it says."""

import ast
import importlib.metadata
import re
import shutil
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from itertools import combinations, product
from pathlib import Path

import pytest

from tests.tree import PROJECT, project_files
from webapp import translations

PACKAGES = ("audits", "printables", "webapp")
TOP_LEVEL = {
    "README.md",
    "DEVELOPERS.md",
    "pyproject.toml",
    "audits",
    "printables",
    "static",
    "tests",
    "webapp",
}
# A letter in brackets stands for itself, and keeps these lines from matching themselves.
NOT_FOR_READERS = {
    "a path of one machine": r"(?<![\w.~-])/(?:[w]ork|[r]oot|[h]ome)/\w",
    "a file that is not part of the project": r"\.\./[s]hared\b|\b(?:[d]esign|[s]tyle)\.md\b",
    "a number in some list of tasks": r"\b[Ii]ssues? #?\d+",
    "how the project is made": (
        r"\b[A]I\b|\b[L]LM\b"
        r"|(?i:[l]anguage model|[c]hatbot|[s]eed document|\b[c]laude\b|\b[g]pt\b|\b[a]gentic\b)"
    ),
    "the host of a registry": r"[p]ypi\.org|[p]ythonhosted\.org|[n]pmjs\.|[d]eb\.debian",
}
# Flask's own parts, which it documents as such: https://flask.palletsprojects.com/installation/
PARTS_OF_FLASK = {"itsdangerous", "jinja2", "markupsafe", "werkzeug"}
CONFIGURATION = tomllib.loads((PROJECT / "pyproject.toml").read_text(encoding="utf-8"))
CONTRACTS = {
    contract["name"]: contract for contract in CONFIGURATION["tool"]["importlinter"]["contracts"]
}
LINT_IMPORTS = "from importlinter.cli import lint_imports_command; lint_imports_command()"


def test_the_top_level_holds_what_it_should_and_nothing_else():
    found = {path.relative_to(PROJECT).parts[0] for path in project_files()}
    assert {name for name in found if not name.startswith(".")} == TOP_LEVEL


@pytest.mark.parametrize("what", NOT_FOR_READERS)
def test_no_file_speaks_of(what):
    pattern = re.compile(NOT_FOR_READERS[what])
    found = []
    for path in project_files():
        try:
            lines = path.read_text(encoding="utf-8").splitlines()
        except UnicodeDecodeError:
            continue
        name = path.relative_to(PROJECT)
        found += [
            f"{name}:{number}: {line.strip()[:120]}"
            for number, line in enumerate(lines, start=1)
            if pattern.search(line)
        ]
    assert not found, f"{what}:\n" + "\n".join(found)


# --- directions ------------------------------------------------------------------------------


def lint_imports(folder: Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-c", LINT_IMPORTS, "--no-logo", "--no-cache"],
        cwd=folder,
        capture_output=True,
        text=True,
        check=False,
    )


def forbidden_imports(contract: dict) -> Iterator[tuple[str, str]]:
    """Yield what a contract forbids, as pairs of importer and imported."""
    if contract["type"] == "layers":
        for upper, lower in combinations(contract["layers"], 2):
            yield lower, upper
    else:
        yield from product(contract["source_modules"], contract["forbidden_modules"])


def module_file(folder: Path, module: str) -> Path:
    path = folder.joinpath(*module.split("."))
    return path / "__init__.py" if path.is_dir() else path.with_suffix(".py")


@pytest.fixture
def copy_of_the_source(tmp_path: Path) -> Path:
    for package in PACKAGES:
        shutil.copytree(
            PROJECT / package,
            tmp_path / package,
            ignore=lambda folder, names: [
                name
                for name in names
                if not name.endswith(".py") and not Path(folder, name).is_dir()
            ],
        )
    shutil.copy(PROJECT / "pyproject.toml", tmp_path)
    return tmp_path


def test_every_module_that_is_not_for_input_or_output_is_held_to_know_no_database():
    held = set(CONTRACTS["Pure modules know no database"]["source_modules"])
    modules = {f"audits.{path.stem}" for path in (PROJECT / "audits").iterdir() if is_module(path)}
    assert held == modules - {"audits.demo", "audits.services", "audits.storage"} | {"printables"}


def is_module(path: Path) -> bool:
    return not path.stem.startswith("_") and (
        path.suffix == ".py" or (path / "__init__.py").exists()
    )


def test_every_import_goes_the_agreed_way():
    answer = lint_imports(PROJECT)
    assert answer.returncode == 0, answer.stdout + answer.stderr


@pytest.mark.parametrize("name", CONTRACTS)
def test_a_contract_notices_each_import_that_it_forbids(name, copy_of_the_source):
    pairs = list(forbidden_imports(CONTRACTS[name]))
    for importer, imported in pairs:
        with module_file(copy_of_the_source, importer).open("a", encoding="utf-8") as file:
            file.write(f"\nimport {imported}\n")
    answer = lint_imports(copy_of_the_source)
    assert answer.returncode != 0
    # The report has a section for each broken contract, headed by its underlined name.
    section = re.search(
        rf"^{re.escape(name)}\n-+\n(.*?)(?=^[^\n]+\n-+\n|\Z)",
        answer.stdout,
        re.DOTALL | re.MULTILINE,
    )
    assert section, answer.stdout + answer.stderr
    missed = [
        f"{importer} -> {imported}"
        for importer, imported in pairs
        if f"{importer} is not allowed to import {imported}:" not in section[1]
    ]
    assert not missed


# --- what it needs ---------------------------------------------------------------------------


def imported_names(path: Path) -> set[str]:
    """Return the top-level names that a file imports, however deep inside it."""
    names = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
            names.add(node.module)
    return {name.split(".")[0] for name in names}


def distributions(requirements: list[str]) -> set[str]:
    return {
        normal(re.split(r"[^\w.-]", requirement, maxsplit=1)[0]) for requirement in requirements
    }


def normal(distribution: str) -> str:
    return re.sub(r"[-_.]+", "-", distribution).lower()


def undeclared(folder: str, declared: set[str]) -> list[str]:
    """Return the imports of a folder's files that no declared distribution provides."""
    providers = importlib.metadata.packages_distributions()
    own = {*PACKAGES, "tests"}
    return [
        f"{path.relative_to(PROJECT)}: {name}"
        for path in sorted((PROJECT / folder).rglob("*.py"))
        for name in sorted(imported_names(path) - sys.stdlib_module_names - own)
        if not declared & {normal(provider) for provider in providers.get(name, [])}
    ]


@pytest.mark.parametrize("package", PACKAGES)
def test_every_import_of_the_program_is_among_its_dependencies(package):
    declared = distributions(CONFIGURATION["project"]["dependencies"]) | PARTS_OF_FLASK
    build_only = "webapp/translations/build_hook.py: hatchling"
    assert [line for line in undeclared(package, declared) if line != build_only] == []


def test_every_import_of_the_tests_is_among_their_dependencies():
    project = CONFIGURATION["project"]
    declared = distributions(project["dependencies"] + project["optional-dependencies"]["test"])
    declared |= PARTS_OF_FLASK
    assert undeclared("tests", declared) == []


def test_an_import_that_is_not_declared_is_noticed():
    assert "webapp/app.py: flask" in undeclared("webapp", {"jinja2"})


# --- what it says ----------------------------------------------------------------------------


def test_every_text_is_translated():
    found = translations.problems()
    if found:
        some = "\n".join(found[:20])
        pytest.fail(
            f"python -m webapp.translations check finds {len(found)} problems, such as\n{some}",
            pytrace=False,
        )


def test_every_text_for_people_is_written_out_where_it_is_marked():
    """A text put together at run time is never found by the extraction, so nobody translates it."""
    found = [
        f"{path.relative_to(PROJECT)}:{call.lineno}"
        for package in PACKAGES
        for path in sorted((PROJECT / package).rglob("*.py"))
        for call in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(call, ast.Call) and call_name(call) in translations.KEYWORDS
        if any(isinstance(part, ast.JoinedStr | ast.BinOp) for part in call.args[:2])
    ]
    assert found == []


def call_name(node: ast.Call) -> str:
    return getattr(node.func, "id", getattr(node.func, "attr", ""))
