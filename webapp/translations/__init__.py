"""
The catalogues: English texts collected from the source, and their translations.

``python -m webapp.translations update`` brings every catalogue up to the source, ``check`` says
what is missing. The compiled catalogues (``.mo``) are made when the tests start and when the
package is built or installed; they are never kept under version control.
"""

import os
import re
from collections.abc import Iterator
from datetime import UTC, datetime
from io import SEEK_END, BytesIO
from pathlib import Path
from typing import Final

from babel.messages.catalog import Catalog, Message
from babel.messages.extract import extract_from_dir
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po, write_po

FOLDER: Final = Path(__file__).parent
SOURCE: Final = FOLDER.parent.parent
PACKAGES: Final = ("audits", "printables", "webapp")
LANGUAGES: Final = ("es",)
# Babel's own answer changes between its versions: some give Spanish a third form for millions.
PLURAL_FORMS: Final = {"es": "nplurals=2; plural=(n != 1);"}
KEYWORDS: Final[dict[str, tuple[int, ...] | None]] = {
    "_": None,
    "gettext": None,
    "lazy_gettext": None,
    "mark": None,
    "mark_n": (1, 2),
    "ngettext": (1, 2),
    "say": None,
    "say_n": (1, 2),
}
METHODS: Final = (("**.py", "python"), ("templates/**", "jinja2"))
# A template that cannot be read must stop the extraction, not lose its texts in silence.
OPTIONS: Final = {"templates/**": {"silent": "false"}}
_LINE_WIDTH: Final = 99
# Only what readers of the file need: dates and names of people or tools would change it needlessly.
_HEADER: Final = r"""# Translations of the pages, the printed sheets and the command line.
msgid ""
msgstr ""
"Language: {language}\n"
"Plural-Forms: {plural_forms}\n"
"MIME-Version: 1.0\n"
"Content-Type: text/plain; charset=utf-8\n"
"Content-Transfer-Encoding: 8bit\n"

"""
_NO_DATE: Final = datetime(2000, 1, 1, tzinfo=UTC)
_PLACE: Final = re.compile(r"(?<!%)(?:%%)*%\((\w+)\)")


def catalogue_path(language: str, folder: Path = FOLDER) -> Path:
    """Return where the catalogue of a language lies."""
    return folder / language / "LC_MESSAGES" / "messages.po"


def extract(source: Path = SOURCE) -> Catalog:
    """Return a catalogue without translations: every text marked in the source."""
    catalogue = Catalog(project="pruning-audit", charset="utf-8", fuzzy=False)
    for package in PACKAGES:
        found = extract_from_dir(
            source / package,
            METHODS,
            OPTIONS,
            KEYWORDS,
            comment_tags=("Translators:",),
            strip_comment_tags=True,
            directory_filter=lambda path: not Path(path).name.startswith((".", "_")),
        )
        for name, line, text, comments, context in found:
            place = Path(package, name).as_posix()
            catalogue.add(text, locations=[(place, line)], auto_comments=comments, context=context)
    return catalogue


def update(folder: Path = FOLDER, source: Path = SOURCE) -> list[Path]:
    """
    Bring every catalogue up to the source; return those written.

    Translations whose English text is unchanged stay as they are. A changed English text is a
    new text without a translation, never a guess marked fuzzy; a text that is gone is dropped.
    """
    template = extract(source)
    written = []
    for language in LANGUAGES:
        path = catalogue_path(language, folder)
        if path.exists():
            catalogue = read_catalogue(path, language)
        else:
            catalogue = Catalog(locale=language, charset="utf-8", fuzzy=False)
            catalogue.mime_headers = [("Plural-Forms", PLURAL_FORMS[language])]
        catalogue.update(template, no_fuzzy_matching=True)
        for message in catalogue:
            message.flags.discard("fuzzy")
        if _write_catalogue(path, catalogue):
            written.append(path)
    return written


def compile_catalogs(folder: Path = FOLDER) -> list[Path]:
    """Make the ``.mo`` file of every catalogue; return those that changed."""
    written = []
    for path in sorted(folder.glob("*/LC_MESSAGES/*.po")):
        catalogue = read_catalogue(path, path.parent.parent.name)
        # The same texts give the same bytes, whenever they are compiled.
        catalogue.creation_date = catalogue.revision_date = _NO_DATE
        file = BytesIO()
        write_mo(file, catalogue)
        if _replace(path.with_suffix(".mo"), file.getvalue()):
            written.append(path.with_suffix(".mo"))
    return written


def problems(folder: Path = FOLDER, source: Path = SOURCE) -> list[str]:
    """Return a sentence for everything that keeps a catalogue from being complete."""
    template = extract(source)
    found = []
    for language in LANGUAGES:
        path = catalogue_path(language, folder)
        if path.exists():
            catalogue = read_catalogue(path, language)
            found += [f"{language}: {problem}" for problem in _differences(template, catalogue)]
        else:
            found.append(f"{language}: there is no catalogue")
    return found


def read_catalogue(path: Path, language: str) -> Catalog:
    """Return the catalogue in a file."""
    with path.open("rb") as file:
        return read_po(file, locale=language, abort_invalid=True)


def _differences(template: Catalog, catalogue: Catalog) -> Iterator[str]:
    if catalogue.fuzzy:
        yield "the catalogue as a whole is marked fuzzy"
    for text in template:
        if not text.id:
            continue
        translated = catalogue.get(text.id, text.context)
        if translated is None or translated.pluralizable != text.pluralizable:
            yield f"not in the catalogue (run update): {_quoted(text)}"
        else:
            yield from _faults(translated, catalogue.num_plurals)
    for message in catalogue:
        if message.id and template.get(message.id, message.context) is None:
            yield f"no longer in the source (run update): {_quoted(message)}"


def _faults(message: Message, plurals: int) -> Iterator[str]:
    """Yield what is wrong with one translation."""
    if message.fuzzy:
        yield f"marked fuzzy: {_quoted(message)}"
    texts = _forms(message.id)
    forms = _forms(message.string)
    if not all(forms) or (message.pluralizable and len(forms) != plurals):
        yield f"not translated: {_quoted(message)}"
        return
    # The form for one may spell the number out; every other form needs each place.
    wanted = _places(texts[-1])
    for number, form in enumerate(forms):
        spare = {"count", "num"} if message.pluralizable and number == 0 else set()
        wrong = (wanted ^ _places(form)) - spare
        if wrong:
            yield f"places differ ({', '.join(sorted(wrong))}): {_quoted(message)}"
        if _margins(form) != _margins(texts[0]):
            yield f"space at the start or end differs: {_quoted(message)}"


def _forms(texts: object) -> tuple[str, ...]:
    """Return a text's forms: one, or one for each number that the language tells apart."""
    return tuple(texts) if isinstance(texts, tuple | list) else (str(texts or ""),)


def _margins(text: str) -> tuple[bool, bool]:
    return text[:1].isspace(), text[-1:].isspace()


def _places(text: str) -> set[str]:
    return set(_PLACE.findall(text))


def _quoted(message: Message) -> str:
    return repr(_forms(message.id)[0])


def _write_catalogue(path: Path, catalogue: Catalog) -> bool:
    """Write a catalogue in an order that keeps differences small; return whether it changed."""
    header = _HEADER.format(language=catalogue.locale, plural_forms=catalogue.plural_forms)
    file = BytesIO(header.encode())
    file.seek(0, SEEK_END)
    write_po(
        file,
        catalogue,
        width=_LINE_WIDTH,
        omit_header=True,
        sort_by_file=True,
        include_lineno=False,
        ignore_obsolete=True,
    )
    return _replace(path, file.getvalue())


def _replace(path: Path, content: bytes) -> bool:
    """Put content in a file at one stroke, so that nobody reads half; leave an equal file be."""
    if path.exists() and path.read_bytes() == content:
        return False
    path.parent.mkdir(parents=True, exist_ok=True)
    fresh = path.with_name(f"{path.name}.{os.getpid()}")
    fresh.write_bytes(content)
    fresh.replace(path)
    return True
