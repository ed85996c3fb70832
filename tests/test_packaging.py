"""What people install holds every file that the program needs, and serves without the source."""

import os
import re
import subprocess
import sys
import venv
from collections.abc import Iterator
from pathlib import Path
from urllib.request import ProxyHandler, Request, build_opener
from zipfile import ZipFile

import pytest

from tests.serving import serving
from tests.tree import PROJECT, project_files
from webapp import translations

PACKAGES = ("audits", "printables", "static", "webapp")

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def wheel(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("wheel")
    run(sys.executable, "-m", "pip", "wheel", "--no-deps", "--wheel-dir", folder, PROJECT)
    return next(folder.glob("*.whl"))


def test_the_wheel_holds_every_file_of_the_packages_and_nothing_else(wheel):
    tracked = {path.relative_to(PROJECT) for path in project_files()}
    expected = {path for path in tracked if path.parts[0] in PACKAGES}
    # Compiled catalogues are built, not kept under version control.
    expected |= {path.with_suffix(".mo") for path in expected if path.suffix == ".po"}
    with ZipFile(wheel) as archive:
        packed = {Path(name) for name in archive.namelist() if ".dist-info/" not in name}
    assert packed == expected


@pytest.mark.parametrize(
    "pattern",
    [
        "webapp/templates/**/*.html",
        "webapp/translations/es/LC_MESSAGES/messages.mo",
        "audits/storage/migrations/versions/*.py",
        "static/css/*.css",
        "static/js/*.js",
    ],
)
def test_the_wheel_holds(wheel, pattern):
    with ZipFile(wheel) as archive:
        assert any(Path(name).match(pattern.replace("**/", "")) for name in archive.namelist())


@pytest.fixture(scope="module")
def installed(tmp_path_factory) -> Path:
    """The programs of a fresh environment into which the project is installed, not linked."""
    folder = tmp_path_factory.mktemp("installed")
    venv.create(folder, with_pip=True)
    run(folder / "bin" / "python", "-m", "pip", "install", PROJECT)
    return folder / "bin"


@pytest.fixture(scope="module")
def served(installed, tmp_path_factory) -> Iterator[str]:
    """Address of a farm served by the installed program, away from the source."""
    folder = tmp_path_factory.mktemp("away")
    program = (str(installed / "pruning-audit"), "--data", str(folder / "data"))
    farm = ("init", "--farm", "Invented Orchards", "--owner", "Robin Example")
    secret = {"PRUNING_AUDIT_OWNER_PASSWORD": "quiet rows in winter"}
    run(*program, *farm, cwd=folder, env=os.environ | secret)
    command = (*program, "serve", "--host", "{host}", "--port", "{port}")
    with serving(folder / "log", command=command, folder=folder, ready_path="/sign-in") as server:
        yield server.url


def test_the_installed_program_explains_itself(installed, tmp_path):
    said = run(installed / "pruning-audit", "--help", cwd=tmp_path)
    for command in ("demo", "init", "rescore", "serve"):
        assert command in said


def test_the_installed_program_serves_its_page_and_all_that_the_page_asks_for(served):
    page = fetch(f"{served}/sign-in", language="en")
    assert "Sign in" in page
    wanted = set(re.findall(r"(?:href|src)=\"(/static/[^\"]+)", page))
    assert any(path.endswith(".css") for path in wanted)
    for path in wanted:
        assert fetch(served + path)


def test_the_installed_program_speaks_spanish(served):
    catalogue = translations.read_catalogue(translations.catalogue_path("es"), "es")
    page = fetch(f"{served}/sign-in", language="es")
    assert '<html lang="es"' in page
    spanish = catalogue["Sign in"].string
    assert spanish
    assert spanish in page


def fetch(url: str, language: str = "en") -> str:
    request = Request(url, headers={"Accept-Language": language})  # noqa: S310 - our own server
    # Whatever proxy this machine uses, the loopback is reached directly.
    with build_opener(ProxyHandler({})).open(request, timeout=10) as answer:
        return answer.read().decode("utf-8", "replace")


def run(*command: str | Path, **options) -> str:
    """Run a command that must succeed; return what it printed."""
    answer = subprocess.run(command, capture_output=True, text=True, check=False, **options)
    assert answer.returncode == 0, answer.stdout + answer.stderr
    return answer.stdout
