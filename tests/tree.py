"""The files of the project, as version control knows them."""

import subprocess
from pathlib import Path

PROJECT = Path(__file__).parent.parent


def project_files() -> list[Path]:
    """Return every file that is under version control or about to be."""
    listed = subprocess.run(
        ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"],
        cwd=PROJECT,
        capture_output=True,
        check=True,
        text=True,
    ).stdout
    paths = (PROJECT / name for name in listed.split("\0") if name)
    return [path for path in paths if path.is_file()]
