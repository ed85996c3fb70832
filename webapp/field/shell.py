"""
The shell: the files of the page in the row, which a phone keeps so that it opens without signal.

The service worker caches the shell and nothing else. Its version is a hash over all that it holds,
so that a phone takes a new shell exactly when something in it has changed. Nothing personal is in
it: everybody gets the same bytes.
"""

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from posixpath import dirname, normpath
from typing import Final

from flask import current_app, url_for

from audits.messages import Units
from audits.services.accounts import LANGUAGES
from webapp.field.phrases import spoken
from webapp.reading import words_in

# As they are linked, the later ones over the earlier ones.
_STYLES: Final = ("palette", "drawing", "page", "frame", "forms", "lists", "tree", "field", "lock")
_ICONS: Final = ("mark.svg", "mark-180.png", "mark-512.png")
_APP: Final = "js/field/app.js"
_WORKER: Final = "js/field/worker.js"
# The address in an import, as the modules write it.
_IMPORTED: Final = re.compile(r"""(?:\bfrom|\bimport)\s*\(?\s*["'](\.[^"']+)["']""")


@dataclass(frozen=True)
class Shell:
    """The shell as one version of the program has it."""

    version: str
    files: tuple[str, ...]
    page: str
    phrases: str
    worker: str


def shell() -> Shell:
    """Return the shell, put together once for as long as the program runs."""
    kept: Shell | None = current_app.extensions.get("pruning_audit_shell")
    if kept is None:
        kept = build_shell(Path(current_app.static_folder or ""))
        current_app.extensions["pruning_audit_shell"] = kept
    return kept


def build_shell(folder: Path) -> Shell:
    """Put the shell together from a folder of static files."""
    styles = [f"css/{name}.css" for name in _STYLES]
    names = [*styles, *modules_of(folder), *(f"icons/{name}" for name in _ICONS)]
    page = _page([_address(name) for name in styles])
    phrases = phrases_json()
    made = {
        url_for("field.page"): page,
        url_for("field.phrases"): phrases,
        url_for("field.manifest"): manifest_json(LANGUAGES[0]),
    }
    worker = (folder / _WORKER).read_text(encoding="utf-8")
    version = version_of(
        {address: text.encode() for address, text in made.items()}
        | {name: (folder / name).read_bytes() for name in names}
        | {_WORKER: worker.encode()}
    )
    files = (*made, *map(_address, names))
    listed = json.dumps({"version": version, "files": files})
    return Shell(version, files, page, phrases, f"const SHELL = {listed};\n{worker}")


def modules_of(folder: Path) -> list[str]:
    """Return the modules that the page runs: its first one, and whatever that one imports."""
    found: set[str] = set()
    waiting = [_APP]
    while waiting:
        name = waiting.pop()
        if name not in found:
            found.add(name)
            source = (folder / name).read_text(encoding="utf-8")
            waiting += [normpath(f"{dirname(name)}/{path}") for path in _IMPORTED.findall(source)]
    return sorted(found)


def version_of(files: Mapping[str, bytes]) -> str:
    """Return a hash that differs as soon as any file's name or content does."""
    digest = sha256()
    for name, content in sorted(files.items()):
        digest.update(f"{name}\n{len(content)}\n".encode())
        digest.update(content)
    return digest.hexdigest()


def phrases_json() -> str:
    """Return what the phone says, by language and key."""
    # Texts alone: region and units matter only once a number is put in.
    return _json(
        {
            language: spoken(words_in(language, region="US", units=Units.METRIC))
            for language in LANGUAGES
        }
    )


def manifest_json(language: str) -> str:
    """Return the manifest by which a phone installs the page (W3C Web Application Manifest)."""
    name = words_in(language, region="US", units=Units.METRIC).gettext("Pruning audit")
    page = url_for("field.page")
    full = {"src": _address("icons/mark-512.png"), "sizes": "512x512", "type": "image/png"}
    return _json(
        {
            "id": page,
            "lang": language,
            "name": name,
            "short_name": name,
            "start_url": page,
            "scope": page,
            "display": "standalone",
            "orientation": "portrait",
            "theme_color": "#0d4a3c",
            "background_color": "#f3f5ef",
            "icons": [
                {"src": _address("icons/mark.svg"), "sizes": "any", "type": "image/svg+xml"},
                full,
                # Outside a circle of four fifths, where masks cut, it has the trunk's foot alone.
                full | {"purpose": "maskable"},
            ],
        }
    )


def _page(styles: list[str]) -> str:
    # Not by `render_template`: that would put the reader and the menu in.
    template = current_app.jinja_env.get_template("field/shell.html")
    texts = [words_in(language, region="US", units=Units.METRIC) for language in LANGUAGES]
    return template.render(
        styles=styles,
        app=_address(_APP),
        languages=[(words.language, words.gettext) for words in texts],
    )


def _address(name: str) -> str:
    return url_for("static", filename=name)


def _json(value: object) -> str:
    return json.dumps(value, ensure_ascii=False, sort_keys=True)
