"""
What may be said of few trees, on every page, file and paper that can show a worker's figures.

The floors are the project's own rule: below 10 due trees counts and no rate, below 30 a range
that is set beside nothing, never an order of people by their results. Every address that takes
nothing, a worker or a crew is listed once below; one that is listed nowhere fails the test.
"""

import ast
import re
from pathlib import Path

import pypdfium2
import pytest

from audits.services.fitting import ask_for_fits, run_fit
from audits.storage.tables import worker
from audits.vocabulary import Role, Stage
from tests.orchard import WORKERS
from tests.page_words import words_of
from tests.scored_season import SEASON, add_audit, day, trees
from tests.web.conftest import NOW

PROJECT = Path(__file__).parents[2]
TOP = Stage.TOP
KNOWN = {"worker_id", "crew_id"}

# Whatever can show figures of a worker; what comes after a blank is asked for as well.
CHECKED = {
    "/": [""],
    "/auditors": [""],
    "/coaching": [""],
    "/coaching/<int:worker_id>": ["", "?season=2025"],
    "/coaching/<int:worker_id>.pdf": ["", "?page=a4"],
    "/coaching/<int:worker_id>/stages": [""],
    "/coaching/crews/<int:crew_id>": [""],
    "/coaching/crews/<int:crew_id>.pdf": [""],
    "/coaching/mine": [""],
    "/coaching/trainings": [""],
    "/comparison": ["", "?season=2025&stage=top", "?around=farm", "?stage=limbs"],
    "/comparison/fits": ["?season=2025&stage=top"],
    "/contests": [""],
    "/contests/mine": [""],
    "/contests/trees": [""],
    "/contests/trees.csv": [""],
    "/contests/workers/<int:worker_id>/trees": [""],
    "/crews": [""],
    "/held-back": [""],
    "/learn/records/<int:worker_id>": [""],
    "/learn/records/mine": [""],
    "/learn/rows": ["", "?season=2025"],
    "/learn/rows/<int:worker_id>": ["", "?season=2025"],
    "/learn/rows/mine": [""],
    "/passes": [""],
    "/print/certificate": ["?worker_id={worker_id}"],
    # There is none until a stage is signed off, as the page says.
    "/print/certificate.pdf": [],
    "/print/certificate/preview": ["?worker_id={worker_id}&page=letter"],
    "/print/coaching": ["?worker_id={worker_id}"],
    "/print/coaching.pdf": ["?worker_id={worker_id}&page=letter"],
    "/print/coaching/preview": ["?worker_id={worker_id}&page=letter"],
    "/print/crew": ["?crew_id={crew_id}"],
    "/print/crew.pdf": ["?crew_id={crew_id}&page=letter&language=en"],
    "/print/crew/preview": ["?crew_id={crew_id}&page=letter&language=en"],
    "/print/season": [""],
    "/print/season.pdf": ["?season=2025&page=letter&language=en"],
    "/print/season/preview": ["?season=2025&page=letter&language=en"],
    "/print/training": ["?worker_id={worker_id}"],
    "/print/training.pdf": ["?worker_id={worker_id}&page=letter"],
    "/print/training/preview": ["?worker_id={worker_id}&page=letter"],
    "/quiz/mine": [""],
    "/quiz/workers/<int:worker_id>": [""],
    "/season": ["", "?season=2025", "?crew={crew_id}"],
    "/workers": ["", "?season=2025"],
    "/workers/<int:worker_id>": ["", "?season=2025"],
    "/workers/crews/<int:crew_id>": ["", "?season=2025"],
    "/workers/mine": [""],
}

# Pages that know no result of anybody, each with what it is there for.
WITHOUT_FIGURES = {
    "/auditors/walks/new": "a form",
    "/blocks": "places",
    "/blocks/new": "a form",
    "/coaching/<int:worker_id>/stages/begin": "a form, with the chances that a rule promises",
    "/coaching/trainings/new": "a form",
    "/contests/notice": "what is kept of people, and why",
    "/crews/<int:crew_id>/edit": "a form",
    "/crews/new": "a form",
    "/crews/workers/<int:worker_id>/edit": "a form",
    "/crews/workers/new": "a form",
    "/devices": "phones",
    "/farm": "accounts and settings",
    "/farm/people/new": "a form",
    "/farm/settings": "a form",
    "/field/": "the page in the row: the same for everybody",
    "/field/lots": "for phones: lots, and the promises of their plans",
    "/field/manifest.webmanifest": "for browsers",
    "/field/packages": "for phones: what to score",
    "/field/phrases.json": "words",
    "/field/token": "a token",
    "/field/worker.js": "a program",
    "/learn": "ways to other pages",
    "/learn/briefs": "who was briefed: no result of anybody",
    "/learn/briefs/new": "a form",
    "/learn/give-back": "a form",
    "/learn/records": "people, by name",
    "/papers": "a form, and photos of sheets that wait",
    "/passes/new": "a form",
    "/practice-trees": "drawn trees: no result of anybody",
    "/practice/": "the practice page: the same for everybody",
    "/practice/blocks.json": "places",
    "/practice/learners.json": "names",
    "/practice/manifest.webmanifest": "for browsers",
    "/practice/pack.json": "trees, and the rule that they are scored by",
    "/practice/phrases.json": "words",
    "/practice/worker.js": "a program",
    "/print": "what can be printed",
    "/print/batches": "cards and gauges, and the checks of their scale",
    "/print/cards": "the standard in words, and names",
    "/print/cards/preview": "the same",
    "/print/duplex-test": "lines and scales",
    "/print/duplex-test.pdf": "the same",
    "/print/duplex-test/preview": "the same",
    "/print/gauges": "gauges",
    "/print/gauges/preview": "the same",
    "/print/model-trees": "the standard in words, and empty lines",
    "/print/model-trees.pdf": "the same",
    "/print/model-trees/preview": "the same",
    "/print/no-start": "who was briefed: no result of anybody",
    "/print/no-start.pdf": "the same",
    "/print/no-start/preview": "the same",
    "/print/poster": "the standard in words",
    "/print/poster.pdf": "the same",
    "/print/poster/preview": "the same",
    "/print/printers": "printers",
    "/print/printers/new": "a form",
    "/print/quiz": "questions on the standard",
    "/print/quiz.pdf": "the same",
    "/print/quiz/preview": "the same",
    "/print/rework": "what one audit sends back, with who did it",
    "/print/rework.pdf": "the same",
    "/print/rework/preview": "the same",
    "/print/safety": "safety notes, and names to sign",
    "/print/safety.pdf": "the same",
    "/print/safety/preview": "the same",
    "/print/tally": "an empty sheet for one audit",
    "/print/tally.pdf": "the same",
    "/print/tally/preview": "the same",
    "/quiz": "a form, and how far quizzes are that were begun",
    "/quiz-items": "what all answers say of each question",
    "/ready": "whether this machine is set up",
    "/ready/phone": "whether this phone is set up",
    "/safety": "safety notes",
    "/sign-in": "a form",
}

# Any way in which a rate is written: a percentage, or so many in so many.
RATE = re.compile(r"\d\s?%|\bin (10|100)\b|de cada 10", re.IGNORECASE)
# Any way in which somebody is set beside something: a rate with a middle, a signal, a limit.
COMPARED = re.compile(
    r"\b(about|more than|fewer than) \d+ in|\bsignal:|go and look[.:]|beyond chance"
    r"|than the standard accepts, beyond"
    r"|\b(cerca de|unos|más de|menos de) \d+ de|\bseñal:|: vaya a ver|más allá del azar",
    re.IGNORECASE,
)
# What the pages say of themselves, whoever is on them.
STANDING_TEXTS = (
    "no figure decides anything by itself: go and look first.",
    "(95 % interval after Wilson)",
    "(intervalo de Wilson del 95 %)",
)


def open_addresses(app) -> set[str]:
    """Return the rules that GET answers without anything but a worker or a crew."""
    return {
        rule.rule
        for rule in app.url_map.iter_rules()
        if "GET" in (rule.methods or ()) and rule.arguments <= KNOWN
    }


def pages_of(orchard):
    """Return every address to look at, with who is looked at."""
    ids = {"worker_id": orchard.worker_ids[0], "crew_id": orchard.crew_id}
    return [
        (rule + query)
        .replace("<int:worker_id>", str(ids["worker_id"]))
        .replace("<int:crew_id>", str(ids["crew_id"]))
        .format(**ids)
        for rule, queries in CHECKED.items()
        for query in queries
    ]


def read(answer) -> str:
    """Return what a page, a file or paper says."""
    if answer.mimetype == "application/pdf":
        document = pypdfium2.PdfDocument(answer.data)
        texts = [page.get_textpage().get_text_bounded() for page in document]
        document.close()
        return " ".join(" ".join(texts).split())
    if answer.mimetype == "text/html":
        return words_of(answer)
    return answer.get_data(as_text=True)


def everything_said(sign_in, orchard, *, language="en") -> dict[str, str]:
    """Return what every address says to whoever may open it, by person and address."""
    said = {}
    for role in Role:
        client = sign_in(role, language)
        for page in pages_of(orchard):
            answer = client.get(page)
            assert answer.status_code < 500, page
            if answer.status_code == 200:
                said[f"{role} {page}"] = read(answer)
    assert len(said) > len(CHECKED)
    opened = {key.partition(" ")[2] for key in said}
    assert opened == set(pages_of(orchard)), set(pages_of(orchard)) - opened
    return said


def found_in(said: dict[str, str], pattern: re.Pattern[str]) -> dict[str, str]:
    """Return where a pattern stands, with what stands around it."""
    found = {}
    for page, text in said.items():
        for standing in STANDING_TEXTS:
            text = text.replace(standing, "")  # noqa: PLW2901 - what is left is looked at
        match = pattern.search(text)
        if match:
            found[page] = text[max(0, match.start() - 60) : match.end() + 60]
    return found


def score(database, orchard, worker_id, patterns, *, stages=tuple(Stage)) -> None:
    """Score one audit a pattern, on days, in rows and by auditors enough to be compared."""
    with database.write() as connection:
        for number, pattern in enumerate(patterns):
            scored = [trees(stage, worker_id, pattern) for stage in stages]
            add_audit(
                connection,
                orchard,
                [
                    {stage: tree[stage] for stage, tree in zip(stages, together, strict=True)}
                    for together in zip(*scored, strict=True)
                ],
                started_at=day(2 + number),
                row=number % len(orchard.row_ids),
                auditor_id=(orchard.supervisor, orchard.owner)[number % 2].user_id,
            )


def worked_out(database, orchard) -> None:
    for stage in Stage:
        for fit_id in ask_for_fits(database, orchard.owner, SEASON, stage, NOW):
            run_fit(database, orchard.farm_id, fit_id, lambda: NOW)


def test_every_address_is_listed_once(app):
    """A new page comes here first: is it one that can show a worker's figures?"""
    assert open_addresses(app) == CHECKED.keys() | WITHOUT_FIGURES.keys()
    assert not CHECKED.keys() & WITHOUT_FIGURES.keys()


@pytest.mark.parametrize(("pattern", "language"), [("xxx", "en"), ("xoo", "es")])
def test_nine_trees_are_counted_and_give_no_rate(database, orchard, sign_in, pattern, language):
    score(database, orchard, orchard.worker_ids[0], [pattern] * 3)
    worked_out(database, orchard)
    said = everything_said(sign_in, orchard, language=language)
    assert not found_in(said, RATE)
    assert not found_in(said, COMPARED)


@pytest.mark.parametrize(("pattern", "language"), [("x", "en"), ("o", "en"), ("x", "es")])
def test_twenty_nine_trees_give_a_range_and_no_comparison(
    database, orchard, sign_in, pattern, language
):
    score(database, orchard, orchard.worker_ids[0], [pattern * 10, pattern * 10, pattern * 9])
    worked_out(database, orchard)
    said = everything_said(sign_in, orchard, language=language)
    assert not found_in(said, COMPARED)


@pytest.mark.parametrize("language", ["en", "es"])
def test_both_patterns_find_what_they_are_for(database, orchard, sign_in, language):
    """The defect planted: with enough trees the same pages do compare, and are seen to."""
    score(database, orchard, orchard.worker_ids[0], ["x" * 12] * 4)
    worked_out(database, orchard)
    said = everything_said(sign_in, orchard, language=language)
    own = f"/workers/{orchard.worker_ids[0]}"
    for page in (own, "/comparison"):
        assert f"supervisor {page}" in found_in(said, RATE)
        assert f"supervisor {page}" in found_in(said, COMPARED)


def test_a_crew_of_four_has_no_figures_anywhere(database, orchard, sign_in):
    """Figures of so few would be figures of persons."""
    score(database, orchard, None, ["xo" * 10] * 4, stages=(TOP,))
    with database.write() as connection:
        connection.execute(
            worker.update().where(worker.c.id.in_(orchard.worker_ids[4:])).values(retired=True)
        )
    said = everything_said_of_crews(sign_in, orchard)
    assert said
    assert not found_in(said, re.compile(r"\b40 of 80\b|\b(about|in) 5 in 10|50 %", re.IGNORECASE))


def everything_said_of_crews(sign_in, orchard) -> dict[str, str]:
    client = sign_in(Role.SUPERVISOR)
    pages = [page for page in pages_of(orchard) if "/crews/" in page or "/workers/" in page]
    answers = {page: client.get(page) for page in pages}
    return {page: read(answer) for page, answer in answers.items() if answer.status_code == 200}


# --- no ranking ----------------------------------------------------------------------------------

IN_ORDER = [
    "Aurelio Barranco",
    "Fermín Olmedo",
    "Maribel Sotelo",
    "Nélida Quintanar",
    "Ovidio Carrizal",
    "Tess Harrowgate",
]


def order_of_names(text: str) -> list[str]:
    """Return the names in the order in which a page first says them."""
    places = {name: text.find(name) for _, name, _ in WORKERS}
    return sorted((name for name, place in places.items() if place >= 0), key=places.__getitem__)


@pytest.mark.parametrize("shift", [0, 5])
def test_people_stand_by_name_whatever_their_results(database, orchard, sign_in, shift):
    """Rates that fall by name, or rise: people stand by name, where they are kept by code."""
    ids = dict(zip((name for _, name, _ in WORKERS), orchard.worker_ids, strict=True))
    for number, name in enumerate(IN_ORDER):
        wrong = 2 * ((shift - number) % 6)
        score(database, orchard, ids[name], ["x" * wrong + "o" * (12 - wrong)] * 3, stages=(TOP,))
    worked_out(database, orchard)
    listed = 0
    for page, text in everything_said(sign_in, orchard).items():
        names = order_of_names(text)
        # Pages of one person begin with them.
        if len(names) > 1 and not re.search(r"/\d+|mine", page):
            by_name = [name for name in IN_ORDER if name in names]
            by_code = [name for _, name, _ in WORKERS if name in names]
            assert names in (by_name, by_code), page
            listed += 1
    assert listed >= 4


# A key that names a result; the tables of scores and the stages of a score are none.
RESULTS = re.compile(
    r"(?<![a-z])(rate|fraction|share|nonconforming|ratio|effect|points|reading|faults|value)"
    r"|\bscore\b(?!\.stage|:)"
)


def sorts_by_result(source: str) -> list[str]:
    """Return the sorts of a source, by Python or by the database, whose key is a result."""
    found = []
    for node in ast.walk(ast.parse(source)):
        if not isinstance(node, ast.Call):
            continue
        name = getattr(node.func, "attr", getattr(node.func, "id", ""))
        if name in {"sorted", "sort", "nlargest", "nsmallest"}:
            keys = [ast.unparse(each.value) for each in node.keywords if each.arg == "key"]
        elif name == "order_by":
            keys = [ast.unparse(each) for each in node.args]
        else:
            continue
        found += [key for key in keys if RESULTS.search(key)]
    return found


def test_nothing_that_lists_people_sorts_them_by_results():
    files = [
        *(PROJECT / "audits" / "services").rglob("*.py"),
        *(PROJECT / "audits" / "storage" / "queries").glob("*.py"),
        *(PROJECT / "webapp").rglob("*.py"),
        *(PROJECT / "printables").glob("*.py"),
    ]
    assert len(files) > 100
    found = {}
    for file in files:
        name = file.relative_to(PROJECT).as_posix()
        keys = sorts_by_result(file.read_text())
        if keys:
            found[name] = keys
    assert not found


@pytest.mark.parametrize(
    "source",
    [
        "sorted(lines, key=lambda line: -line.reading.fraction)",
        "people.sort(key=lambda person: person.points)",
        "sa.select(worker).order_by(rollup.c.nonconforming / rollup.c.due)",
        "heapq.nlargest(3, workers, key=by_ratio)",
    ],
)
def test_a_sort_by_results_is_seen(source):
    assert sorts_by_result(source)


def test_a_sort_by_name_is_none():
    assert not sorts_by_result("sorted(workers, key=lambda worker: worker.name.casefold())")
