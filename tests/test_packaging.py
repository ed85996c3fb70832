"""What people install: the built package holds every file that the program needs."""

import subprocess
import sys
from pathlib import Path
from zipfile import ZipFile

import pytest

from tests.tree import PROJECT, project_files

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


def run(*command) -> None:
    answer = subprocess.run(command, capture_output=True, text=True, check=False)
    assert answer.returncode == 0, answer.stdout + answer.stderr
