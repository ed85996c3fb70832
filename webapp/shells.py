"""
Shells: the files of a page that a phone keeps so that it opens without signal.

A service worker caches its shell and nothing else. Its version is a hash over all that it holds, so
that a phone takes a new shell exactly when something in it has changed. Nothing personal is in it:
everybody gets the same bytes. One worker, with another first line, serves every shell.
"""

import json
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from posixpath import dirname, normpath
from typing import Final

from flask import current_app, url_for

from audits.messages import Units, Words
from audits.services.accounts import LANGUAGES
from webapp.reading import words_in

_ICONS: Final = ("mark.svg", "mark-180.png", "mark-512.png")
_WORKER: Final = "js/field/worker.js"
# The address in an import, as the modules write it.
_IMPORTED: Final = re.compile(r"""(?:\bfrom|\bimport)\s*\(?\s*["'](\.[^"']+)["']""")


@dataclass(frozen=True)
class ShellPlan:
    """
    What a shell is made of.

    `area` is its blueprint, with views `page`, `phrases` and `manifest`, and the id of what `app`,
    the first module, fills. `styles` are linked in order, the later ones over the earlier ones, and
    `look` are the classes that they know the page by. `title`, `without_scripts`, what stands there
    without any, and `way_back_name` are untranslated; `way_back` is the view that the last one
    names. `spoken` gives the words of the page in a language.
    """

    area: str
    title: str
    app: str
    styles: tuple[str, ...]
    look: str
    without_scripts: str
    way_back: str
    way_back_name: str
    spoken: Callable[[Words], Mapping[str, object]]


@dataclass(frozen=True)
class Shell:
    """A shell as one version of the program has it."""

    version: str
    files: tuple[str, ...]
    page: str
    phrases: str
    worker: str


def kept_shell(plan: ShellPlan) -> Shell:
    """Return a shell, put together once for as long as the program runs."""
    name = f"pruning_audit_shell_{plan.area}"
    kept: Shell | None = current_app.extensions.get(name)
    if kept is None:
        kept = built_shell(plan, Path(current_app.static_folder or ""))
        current_app.extensions[name] = kept
    return kept


def built_shell(plan: ShellPlan, folder: Path) -> Shell:
    """Put a shell together from a folder of static files."""
    styles = [f"css/{name}.css" for name in plan.styles]
    names = [*styles, *modules_of(folder, plan.app), *(f"icons/{name}" for name in _ICONS)]
    address = url_for(f"{plan.area}.page")
    page = _page(plan, [_address(name) for name in styles])
    phrases = phrases_json(plan)
    made = {
        address: page,
        url_for(f"{plan.area}.phrases"): phrases,
        url_for(f"{plan.area}.manifest"): manifest_json(plan, LANGUAGES[0]),
    }
    worker = (folder / _WORKER).read_text(encoding="utf-8")
    version = version_of(
        {file: text.encode() for file, text in made.items()}
        | {name: (folder / name).read_bytes() for name in names}
        | {_WORKER: worker.encode()}
    )
    files = (*made, *map(_address, names))
    listed = json.dumps({"version": version, "files": files, "name": plan.area, "page": address})
    return Shell(version, files, page, phrases, f"const SHELL = {listed};\n{worker}")


def modules_of(folder: Path, app: str) -> list[str]:
    """Return the modules that a page runs: its first one, and whatever that one imports."""
    found: set[str] = set()
    waiting = [app]
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


def phrases_json(plan: ShellPlan) -> str:
    """Return what the phone says, by language and key."""
    return _json({language: plan.spoken(_texts(language)) for language in LANGUAGES})


def manifest_json(plan: ShellPlan, language: str) -> str:
    """Return the manifest by which a phone installs the page (W3C Web Application Manifest)."""
    name = _texts(language).gettext(plan.title)
    page = url_for(f"{plan.area}.page")
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


def _texts(language: str) -> Words:
    # Texts alone: region and units matter only once a number is put in.
    return words_in(language, region="US", units=Units.METRIC)


def _page(plan: ShellPlan, styles: list[str]) -> str:
    # Not by `render_template`: that would put the reader and the menu in.
    template = current_app.jinja_env.get_template("shell.html")
    texts = [_texts(language) for language in LANGUAGES]
    return template.render(
        plan=plan,
        styles=styles,
        app=_address(plan.app),
        languages=[(words.language, words.gettext) for words in texts],
    )


def _address(name: str) -> str:
    return url_for("static", filename=name)


def _json(value: object) -> str:
    return json.dumps(value, ensure_ascii=False, sort_keys=True)
