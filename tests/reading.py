"""How easily a text reads, and the words of readers for tests of paper."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import pytest
from babel.messages.pofile import read_po

from audits.messages import ENGLISH, Units, Words

CATALOGUE = (
    Path(__file__).parents[1] / "webapp" / "translations" / "es" / "LC_MESSAGES" / "messages.po"
)

METRIC_ENGLISH = Words("en", "en_US", Units.METRIC, ENGLISH.gettext, ENGLISH.ngettext)


@dataclass(frozen=True)
class Counts:
    """What a reading-ease formula counts."""

    sentences: int
    words: int
    syllables: int


def flesch_kincaid_grade(counts: Counts) -> float:
    """
    Return the US school grade that reads a text with ease.

    Source: J. P. Kincaid et al., Derivation of new readability formulas for Navy enlisted
    personnel, Research Branch Report 8-75 (1975).
    """
    return 0.39 * counts.words / counts.sentences + 11.8 * counts.syllables / counts.words - 15.59


def inflesz(counts: Counts) -> float:
    """
    Return the Spanish reading ease: 65 to 80 is fairly easy, above 80 very easy.

    Source: F. Szigriszt Pazos, Sistemas predictivos de legibilidad del mensaje escrito (1993);
    scale of I. M. Barrio-Cantalejo et al., An. Sist. Sanit. Navar. 31 (2008) 135-152.
    """
    return 206.835 - 62.3 * counts.syllables / counts.words - counts.words / counts.sentences


def english_counts(text: str) -> Counts:
    words = _words(text)
    return Counts(_sentences(text), len(words), sum(map(english_syllables, words)))


def spanish_counts(text: str) -> Counts:
    words = _words(text)
    return Counts(_sentences(text), len(words), sum(map(spanish_syllables, words)))


def _words(text: str) -> list[str]:
    # A figure reads as one short word in either language.
    return re.findall(r"[^\W_]+(?:['-][^\W_]+)*", text)


def _sentences(text: str) -> int:
    return max(1, len(re.findall(r"[.!?:;]+(?:\s|$)", text.strip())))


def english_syllables(word: str) -> int:
    """Count groups of vowels, less endings that are not spoken."""
    if not re.search("[a-z]", word.lower()):
        return 1
    plain = word.lower()
    plain = re.sub(r"'s$|s'$", "", plain)
    groups = len(re.findall("[aeiouy]+", plain))
    silent = re.search(r"[^aeiouyl]e$|[aeiouy]le$|[^aeiouytd]ed$|[^aeiouycgszxh]es$", plain)
    if silent and groups > 1:
        groups -= 1
    return max(1, groups)


_STRONG = "aeoáéóíú"
_WEAK = "iuü"


def spanish_syllables(word: str) -> int:
    """Count vowels by the rules of the language: two strong ones part, a weak one joins."""
    plain = re.sub("qu(?=[eiéí])|gu(?=[eiéí])", "q", word.lower())
    plain = re.sub("y$", "i", plain)
    if not re.search("[aeiouáéíóúü]", plain):
        return 1
    count = 0
    for run in re.findall(f"[{_STRONG}{_WEAK}]+(?:h[{_STRONG}{_WEAK}]+)*", plain):
        count += _syllables_of_run(run.replace("h", ""))
    return count


def _syllables_of_run(run: str) -> int:
    strong = sum(letter in _STRONG for letter in run)
    return max(strong, 1)


def assert_easy_to_read(texts: Sequence[str], language: str) -> None:
    """Grade 6 at most in English, INFLESZ 65 at least in Spanish: this project's own bars."""
    assert texts
    for text in texts:
        if language == "es":
            assert inflesz(spanish_counts(text)) >= 65, text
        else:
            assert flesch_kincaid_grade(english_counts(text)) <= 6, text


def lengthened(text: str) -> str:
    """Stretch every word by half, with letters of Spanish: a language longer than any here."""

    def longer(match: re.Match[str]) -> str:
        word = match[0]
        return word + ("ñ" + word.lower())[: max(1, round(0.45 * len(word)))]

    parts = re.split(r"(%\(\w+\)s|%%)", text)
    return "".join(
        part if part.startswith("%") else re.sub(r"[^\W\d_]{3,}", longer, part) for part in parts
    )


PSEUDO = Words(
    language="es",
    locale="es_US",
    units=Units.IMPERIAL,
    gettext=lengthened,
    ngettext=lambda singular, plural, count: lengthened(singular if count == 1 else plural),
)


def spanish_words(units: Units = Units.IMPERIAL) -> Words:
    """Read the Spanish catalogue as translators leave it."""
    if not CATALOGUE.exists():
        pytest.skip("there is no Spanish catalogue yet")
    with CATALOGUE.open("rb") as source:
        catalogue = read_po(source, locale="es")

    def gettext(text: str) -> str:
        if not re.sub(r"%\(\w+\)s", "", text).strip():
            return text
        found = catalogue.get(text)
        assert found is not None, f"not in the Spanish catalogue: {text}"
        assert found.string, f"not translated: {text}"
        return found.string

    def ngettext(singular: str, plural: str, count: int) -> str:
        found = catalogue.get((singular, plural))
        assert found is not None, f"not in the Spanish catalogue: {plural}"
        return found.string[0 if count == 1 else 1]

    return Words("es", "es_US", units, gettext, ngettext)
