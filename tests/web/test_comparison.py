"""The page of fair comparison: who may read it, what it says, and how it waits for the model."""

import re
import threading

import pytest
from click.testing import CliRunner

from audits.services import fitting
from audits.services.fitting import ask_for_fits, run_fit
from audits.storage.tables import mixed_fit
from audits.vocabulary import FitState, Role, Stage
from tests.fair_season import add_fair_season
from tests.page_words import words_of
from tests.scored_season import SEASON, add_audit, day, trees
from tests.web.conftest import NOW
from webapp.cli import main
from webapp.comparison import job, routes

TOP = Stage.TOP
NAMES = [
    "Aurelio Barranco",
    "Fermín Olmedo",
    "Maribel Sotelo",
    "Nélida Quintanar",
    "Ovidio Carrizal",
    "Tess Harrowgate",
]


@pytest.fixture
def at_once(monkeypatch):
    """Work fits out in this process instead of one of their own."""

    def start(database, farm_id, fit_ids, now):
        for fit_id in fit_ids:
            run_fit(database, farm_id, fit_id, now)

    monkeypatch.setattr(routes, "start_fits", start)


def names_in(page: str) -> list[str]:
    table = page.partition("In the same blocks")[2]
    return re.findall(r'<a href="/workers/\d+\?season=2025">([^<]+)</a>', table)


@pytest.mark.usefixtures("at_once")
def test_the_page_says_what_chance_block_and_auditor_explain(database, orchard, supervisor):
    add_fair_season(database, orchard)
    before = supervisor.get("/comparison")
    assert "go and look" in words_of(before)
    assert "Not worked out yet." in words_of(before)
    assert "An average person there" not in words_of(before)

    assert supervisor.post("/comparison/fits?stage=top&season=2025").status_code == 302
    answer = supervisor.get("/comparison?stage=top&season=2025")
    page = words_of(answer)
    assert "6 of 6 people have enough trees to be set beside the standard." in page
    assert "Most of this comes from Gravel Block, where everybody has more faults." in page
    assert "A hard block: more faults than elsewhere, whoever prunes." in page
    assert "Stricter than the others, beyond chance." in page
    assert "go and look." not in page.partition("no figure decides")[0]
    assert "Worked out on January 20 from 72 audits." in page
    assert names_in(answer.text) == NAMES
    assert 'class="drawing"' in answer.text


@pytest.mark.usefixtures("at_once")
def test_it_reads_in_spanish(database, orchard, sign_in):
    add_fair_season(database, orchard)
    client = sign_in(Role.OWNER, language="es")
    client.post("/comparison/fits?stage=top&season=2025")
    answer = client.get("/comparison?stage=top&season=2025")
    page = words_of(answer)
    assert '<html lang="es"' in answer.text
    assert "Gravel Block" in page
    for english in ("Most of this", "worked out", "could be", "People stand"):
        assert english not in page


@pytest.mark.parametrize("query", ["?sort=rate", "?order=-effect", "?around=farm&sort=worst"])
def test_people_stand_by_name_whatever_is_asked_for(database, orchard, owner, query):
    add_fair_season(database, orchard)
    answer = owner.get(f"/comparison{query}")
    assert names_in(answer.text) == NAMES
    assert not re.search(r"\b(rank|best|worst|top \d|place \d)\b", words_of(answer), re.IGNORECASE)


def test_workers_do_not_open_it(sign_in):
    worker = sign_in(Role.WORKER)
    assert worker.get("/comparison").status_code == 403
    assert worker.get("/comparison/fits").status_code == 403
    assert worker.post("/comparison/fits").status_code == 403


def test_a_season_without_audits_says_so(supervisor):
    page = words_of(supervisor.get("/comparison"))
    assert "No audit has scored this stage in this season yet." in page
    assert supervisor.post("/comparison/fits").status_code == 302


@pytest.mark.parametrize(
    "query", ["?stage=roots", "?season=soon", "?around=moon", "?season=99999999999&stage=top"]
)
def test_what_cannot_be_asked_for_shows_the_usual(database, orchard, supervisor, query):
    add_audit_of(database, orchard, "oox")
    assert supervisor.get(f"/comparison{query}").status_code == 200


@pytest.mark.usefixtures("at_once")
@pytest.mark.parametrize("pattern", ["o" * 40, "x" * 40])
def test_none_and_only_faults_end_in_sentences(database, orchard, supervisor, pattern):
    for number in range(3):
        add_audit_of(database, orchard, pattern, number)
    supervisor.post("/comparison/fits?stage=top&season=2025")
    page = words_of(supervisor.get("/comparison?stage=top"))
    assert "so nobody differs from anybody." in page
    assert not re.search(r"\b(nan|inf|None)\b", page, re.IGNORECASE)


def add_audit_of(database, orchard, pattern, number=0):
    with database.write() as connection:
        add_audit(
            connection,
            orchard,
            trees(TOP, orchard.worker_ids[0], pattern),
            started_at=day(1 + number),
            row=number,
            auditor_id=(orchard.supervisor, orchard.owner)[number % 2].user_id,
        )


# --- waiting for the model -----------------------------------------------------------------------


def test_a_page_that_waits_shows_how_far_the_work_is(database, orchard, supervisor):
    add_fair_season(database, orchard)
    ask_for_fits(database, orchard.supervisor, SEASON, TOP, NOW)
    with database.write() as connection:
        connection.execute(mixed_fit.update().values(state=FitState.RUNNING, progress=0.4))
    page = supervisor.get("/comparison?stage=top").text
    assert 'data-waiting="/comparison/fits?season=2025&amp;stage=top"' in page
    assert '<progress id="fits-progress" max="1" value="0.4">' in page
    assert "js/waiting.js" in page
    assert "Work out the fair rates" not in page
    assert supervisor.get("/comparison/fits?season=2025&stage=top").json == {
        "pending": 1,
        "progress": 0.4,
    }


def test_a_process_of_its_own_works_it_out(database, orchard, supervisor):
    add_fair_season(database, orchard)
    watchers = threading.active_count()
    supervisor.post("/comparison/fits?stage=top&season=2025")
    for thread in threading.enumerate():
        if thread.name == "watch-fits":
            thread.join(timeout=60)
    assert threading.active_count() <= watchers
    assert supervisor.get("/comparison/fits?season=2025&stage=top").json["pending"] == 0
    assert "72 audits" in words_of(supervisor.get("/comparison?stage=top"))


def test_a_process_that_dies_leaves_a_sentence(database, orchard, supervisor, monkeypatch):
    add_fair_season(database, orchard)
    fit_ids = ask_for_fits(database, orchard.supervisor, SEASON, TOP, NOW)
    monkeypatch.setattr(job.sys, "executable", "/bin/false")
    job.start_fits(database, orchard.farm_id, fit_ids, lambda: NOW).join(timeout=60)
    page = words_of(supervisor.get("/comparison?stage=top"))
    assert "The work was interrupted. Start it again." in page
    assert "Work out the fair rates" in page


def test_a_process_that_cannot_start_leaves_the_same_sentence(
    database, orchard, supervisor, monkeypatch
):
    add_fair_season(database, orchard)
    monkeypatch.setattr(job.sys, "executable", "/no/such/program")
    answer = supervisor.post("/comparison/fits?stage=top&season=2025")
    assert answer.status_code == 302
    page = words_of(supervisor.get("/comparison?stage=top"))
    assert "The work was interrupted. Start it again." in page


def test_an_address_with_a_password_stands_in_no_list_of_processes(database, monkeypatch):
    """Common practice, no source: arguments of a process are open to everybody on a machine."""
    started = []

    class Process:
        def __init__(self, arguments, **options):
            started.append((arguments, options))

        def wait(self):
            return 0

    monkeypatch.setattr(job.subprocess, "Popen", Process)
    job.start_fits(database, 1, [1], lambda: NOW)
    ((arguments, options),) = started
    assert database.url.database not in " ".join(arguments)
    assert database.url.database in options["env"]["PRUNING_AUDIT_FITS"]


# --- the command line ----------------------------------------------------------------------------


def test_the_command_prints_by_name_and_keeps_the_floors(database, orchard, tmp_path):
    add_fair_season(database, orchard)
    with database.write() as connection:
        for number in range(3):
            add_audit(
                connection,
                orchard,
                trees(Stage.LIMBS, orchard.worker_ids[0], "x" * 9),
                started_at=day(1 + number),
                row=number,
            )
    shown = CliRunner().invoke(
        main,
        ["--data", str(tmp_path), "--language", "en", "compare", "--season", "2025"],
    )
    assert shown.exit_code == 0, shown.output
    top, limbs = shown.output.partition("\nLimbs")[::2]
    people = re.findall(r"^  (\w+ \w+): (?:About|More)", top, re.MULTILINE)
    assert people[:6] == NAMES
    assert "Block and auditor taken out: About" in top
    assert "0 of 1 person has enough trees" in limbs
    assert not re.search(r"in 10\b|in 100|%", limbs)


@pytest.mark.usefixtures("orchard", "app")
def test_the_command_takes_one_stage_and_says_when_there_is_nothing(tmp_path):
    shown = CliRunner().invoke(
        main, ["--data", str(tmp_path), "--language", "en", "compare", "--stage", "columns"]
    )
    assert shown.exit_code == 0, shown.output
    assert shown.output.split("\n")[:2] == [
        "Columns",
        "  No tree of this season counts for one person yet.",
    ]


def test_the_largest_wait_is_longer_than_the_longest_fit():
    """A minute is the bar for the largest farm."""
    assert fitting.GIVEN_UP_AFTER.total_seconds() > 5 * 60
