"""Workers' pages: floors of what is shown, whose page it is, and nobody ranked."""

import re

import pytest

from audits.standard import read_standard
from audits.storage.queries.trends import standard_versions
from audits.storage.tables import block, worker, worker_name
from audits.vocabulary import Fault, Role, Stage
from tests.orchard import plant_orchard
from tests.page_words import words_of
from tests.scored_season import Scored, add_audit, amend_tree, day, right, trees, wrong
from tests.statements import statements_of
from tests.web.conftest import NOW

TOP, COLUMNS = Stage.TOP, Stage.COLUMNS


def score(database, orchard, patterns, *, worker_id=None, stage=TOP, auditors=2, **options):
    """Score one pattern a day, each in the next row, by one or two auditors in turn."""
    people = (orchard.supervisor.user_id, orchard.owner.user_id)[:auditors]
    worker_id = worker_id or orchard.worker_ids[0]
    with database.write() as connection:
        for number, pattern in enumerate(patterns, start=1):
            add_audit(
                connection,
                orchard,
                trees(stage, worker_id, pattern, **options),
                started_at=day(number),
                row=number % len(orchard.row_ids),
                auditor_id=people[number % auditors],
            )


@pytest.fixture
def mine(sign_in):
    return sign_in(Role.WORKER)


def test_nine_due_trees_show_counts_and_no_per_cent(database, orchard, supervisor, mine):
    score(database, orchard, ["oox", "oox", "oox"])
    for answer in (mine.get("/workers/mine"), supervisor.get(page_of(orchard, 0))):
        page = words_of(answer)
        assert "6 of 9 trees right. Too few for a rate." in page
        assert "%" not in answer.text
        assert "in 10 right" not in page
        assert 'class="drawing"' not in answer.text
        assert "standard accepts" not in page


def test_29_due_trees_show_a_range_and_compare_nothing(database, orchard, supervisor, mine):
    score(database, orchard, ["x" * 10, "x" * 10, "x" * 9])
    for answer in (mine.get("/workers/mine"), supervisor.get(page_of(orchard, 0))):
        page = words_of(answer)
        assert "0 to 2 in 10 right (29 trees). Too few to compare." in page
        assert "%" not in answer.text
        assert "About" not in page
        assert 'class="drawing"' not in answer.text
        assert "standard accepts" not in page
        assert "Signal" not in page


@pytest.mark.parametrize("patterns", [["xxx", "xxx", "xxx"], ["x" * 10, "x" * 10, "x" * 9]])
def test_the_list_of_workers_shows_neither_rate_nor_signal_below_the_floors(
    database, orchard, supervisor, patterns
):
    score(database, orchard, patterns)
    answer = supervisor.get("/workers")
    page = words_of(answer)
    assert f"Top\u00a0{sum(map(len, patterns))}" in answer.text
    assert "%" not in answer.text
    assert "in 10" not in page
    assert "Signal:" not in page


def test_thirty_due_trees_of_one_auditor_are_not_set_beside_the_standard(
    database, orchard, supervisor
):
    score(database, orchard, ["o" * 9 + "x"] * 3, auditors=1)
    page = words_of(supervisor.get(page_of(orchard, 0)))
    assert "To compare, it takes 3 days, 3 rows and 2 auditors." in page
    assert "standard accepts" not in page
    assert "own season so far" in page


def test_a_comparable_rate_is_charted_beside_the_standard_with_its_figures(
    database, orchard, supervisor
):
    score(database, orchard, ["o" * 9 + "x", "o" * 10, "o" * 10, "xxxxxx" + "o" * 4, "oo"])
    answer = supervisor.get(page_of(orchard, 0))
    page = words_of(answer)
    assert "About 8 in 10 right, could be 6 to 10 (42 trees)." in page
    assert "the standard accepts 5 %" in page
    assert "Tops run high since January 4: check the mark on the pole" in page
    assert "6 of 12 due trees wrong since then." in page
    assert "What was wrong, in 42 due trees: too high 7." in page
    assert "2 more due trees wait for the next block." in page
    assert table_of(answer.text)[:4] == [
        ["1-10", "1 of 10", "0 to 5", "within", "0.6"],
        ["11-20", "0 of 10", "0 to 5", "within", "0.5"],
        ["21-30", "0 of 10", "0 to 5", "within", "0.4"],
        ["31-40", "6 of 10", "0 to 5", "above: signal", "1.8"],
    ]
    assert re.search(
        r'<svg[^>]*role="img" aria-labelledby="chart-top-title chart-top-desc"', answer.text
    )
    # The first thing on the page is what to do.
    assert page.index("Look at this together") < page.index("About 8 in 10 right")
    assert "Signal: Top" in words_of(supervisor.get("/workers"))


def test_the_page_says_how_often_a_signal_is_false_and_how_soon_a_true_one_comes(
    database, orchard, supervisor
):
    score(database, orchard, ["o" * 10] * 4)
    page = words_of(supervisor.get(page_of(orchard, 0)))
    assert (
        "If faults came twice as often, this would show within 267 due trees in half of the cases, "
        "about 27 audits like these."
    ) in page
    assert "of 100 people whose work stays as good as the standard asks, at most 2 get one" in page
    people = "With 6 people, that is at most 0.1 in a season."
    assert people not in page
    assert people in words_of(supervisor.get("/workers"))


@pytest.mark.parametrize("pattern", ["o" * 10, "x" * 10, "-" * 9 + "o"])
@pytest.mark.parametrize("audits", [1, 41])
def test_no_season_is_too_odd_for_a_page(database, orchard, sign_in, pattern, audits):
    """No faults, nothing but faults, hardly a due tree, one audit, more trees than planned for."""
    score(database, orchard, [pattern] * audits)
    for language in ("en", "es"):
        client = sign_in(Role.SUPERVISOR, language=language)
        for path in (page_of(orchard, 0), "/workers", "/"):
            answer = client.get(path)
            assert answer.status_code == 200
            assert not re.search(r"\b(nan|inf)\b", answer.text)


def test_measured_heights_are_charted_with_their_mean_and_their_fit(database, orchard, supervisor):
    with database.read() as connection:
        (version,) = standard_versions(connection, orchard.farm_id, [orchard.standard_id])
    target = read_standard(version.payload).top.target_mm
    with database.write() as connection:
        for number in range(1, 5):
            heights = [
                {TOP: Scored(orchard.worker_ids[0], measured_mm=(target + 50.8 + 25.4 * step,))}
                for step in (-2, -1, -1, 0, 0, 0, 0, 1, 1, 2)
            ]
            add_audit(
                connection,
                orchard,
                heights,
                started_at=day(number),
                row=number,
                auditor_id=(orchard.supervisor.user_id, orchard.owner.user_id)[number % 2],
            )
    answer = supervisor.get(page_of(orchard, 0))
    page = words_of(answer)
    assert "On average 2 in above the target height, give or take" in page
    assert "(40 measured trees)" in page
    assert "The band is 1.8 times as wide as these heights scatter (Cp" in page
    for title in ("Mean of ten heights", "How even the heights are", "Ten trees at a time"):
        assert f'<h3 class="chart-title">{title}</h3>' in answer.text
    assert table_of(answer.text)[0][:2] == ["1-10", "+2 in"]


def test_rare_faults_are_charted_by_the_trees_between_them(database, orchard, supervisor):
    score(database, orchard, ["o" * 49 + "x"] * 6)
    answer = supervisor.get(page_of(orchard, 0))
    assert "Faults are so rare here that ten trees say little" in words_of(answer)
    assert table_of(answer.text)[:2] == [["1", "49"], ["2", "49"]]


def test_five_faults_one_after_another_and_none_since_have_a_page(database, orchard, supervisor):
    """Not one right tree lies between them, so that there is nothing to measure the gaps by."""
    score(database, orchard, ["xxxxx" + "o" * 37, *["o" * 42] * 4])
    answer = supervisor.get(page_of(orchard, 0))
    assert answer.status_code == 200
    assert "Faults are so rare here that ten trees say little" in words_of(answer)
    assert table_of(answer.text)[:2] == [["1", "0"], ["2", "0"]]


def test_a_crews_page_shows_what_counts_for_nobody_alone(database, orchard, supervisor, mine):
    crew_page = f"/workers/crews/{orchard.crew_id}"
    with database.write() as connection:
        for number in (1, 2, 3):
            add_audit(
                connection,
                orchard,
                trees(TOP, None, "xooooooooo"),
                started_at=day(number),
                row=number,
                auditor_id=(orchard.supervisor.user_id, orchard.owner.user_id)[number % 2],
            )
    assert f'href="{crew_page}"' in supervisor.get("/workers").text
    page = words_of(supervisor.get(crew_page))
    assert "About 9 in 10 right" in page
    assert mine.get(crew_page).status_code == 403
    assert supervisor.get("/workers/crews/9999").status_code == 404
    with database.write() as connection:
        connection.execute(
            worker.update().where(worker.c.id.in_(orchard.worker_ids[4:])).values(retired=True)
        )
    page = words_of(supervisor.get(crew_page))
    assert "fewer than 5 people" in page
    assert "in 10 right" not in page


def test_a_long_chart_shows_the_latest_240_trees(database, orchard, supervisor):
    score(database, orchard, ["o" * 30] * 9)
    answer = supervisor.get(page_of(orchard, 0))
    assert "The chart shows the latest 240 trees." in words_of(answer)
    figures = table_of(answer.text.split("Tree by tree")[0])
    assert (len(figures), figures[0][0], figures[-1][0]) == (24, "31-40", "261-270")
    drawing = answer.text[answer.text.index("<svg xmlns") :]
    assert drawing[: drawing.index("</svg>")].count('<circle class="inked-solid"') == 24 + 1


def test_last_faults_are_told_in_words_with_what_they_mean(database, orchard, supervisor):
    with database.write() as connection:
        add_audit(
            connection,
            orchard,
            [
                {TOP: wrong(orchard.worker_ids[0], Fault.HIGH)},
                {COLUMNS: wrong(orchard.worker_ids[0], Fault.TIP_SHORTENED)},
                {COLUMNS: wrong(orchard.worker_ids[0])},
            ],
            started_at=day(12),
            row=3,
        )
    page = words_of(supervisor.get(page_of(orchard, 0)))
    assert "January 12, Creek Block, row 4, tree 7 Too high : another cut mends it" in page
    assert (
        "January 12, Creek Block, row 4, tree 14, right side Tip shortened : cannot be mended"
        in page
    )
    assert "January 12, Creek Block, row 4, tree 21, left side Nobody named the fault." in page


def test_a_block_that_does_not_call_itself_one_is_called_a_block(database, orchard, supervisor):
    with database.write() as connection:
        connection.execute(block.update().values(name="North"))
    score(database, orchard, ["x"])
    assert "block North, row 2, tree 7" in words_of(supervisor.get(page_of(orchard, 0)))


def test_a_worker_opens_no_page_but_their_own(database, orchard, mine):
    score(database, orchard, ["oox"], worker_id=orchard.worker_ids[1])
    assert mine.get(page_of(orchard, 0)).status_code == 200
    for path in (page_of(orchard, 1), "/workers/9999", "/workers"):
        answer = mine.get(path)
        assert answer.status_code == 403
        assert "Nélida" not in answer.text
    assert "Nélida" not in mine.get("/workers/mine").text


def test_only_workers_have_a_page_of_their_own(supervisor, owner):
    for client in (supervisor, owner):
        assert client.get("/workers/mine").status_code == 403


def test_nobody_sees_anything_before_signing_in(app, orchard):
    client = app.test_client()
    for path in ("/workers", "/workers/mine", page_of(orchard, 0)):
        answer = client.get(path)
        assert answer.status_code == 302
        assert answer.location.startswith("/sign-in")


def test_another_farms_worker_is_not_there(database, supervisor):
    other = plant_orchard(database, NOW, name="Far Slope")
    score(database, other, ["ooxx" * 5] * 3)
    assert supervisor.get(page_of(other, 0)).status_code == 404
    page = words_of(supervisor.get("/workers"))
    assert page.count("Aurelio Barranco") == 1
    assert "Signal" not in page.replace("A signal says", "")


def test_shared_results_stand_apart_and_never_under_a_name(database, orchard, supervisor):
    score(database, orchard, ["oo"])
    with database.write() as connection:
        add_audit(connection, orchard, trees(TOP, None, "xxxxo"), started_at=day(9))
    page = words_of(supervisor.get(page_of(orchard, 0)))
    own, shared = page.split("Counted for Crew A, not for one person")
    assert "2 of 2 trees right." in own
    assert "Last faults : Top None in this season." in own
    assert "1 of 5 trees right." in shared


def test_shared_results_of_a_small_crew_are_held_back(database, orchard, supervisor):
    with database.write() as connection:
        add_audit(connection, orchard, trees(TOP, None, "xxxxo"), started_at=day(9))
        connection.execute(
            worker.update().where(worker.c.id.in_(orchard.worker_ids[4:])).values(retired=True)
        )
    page = words_of(supervisor.get(page_of(orchard, 0)))
    assert "The crew has fewer than 5 people, so its figures are not shown." in page
    assert "1 of 5" not in page


def test_an_amended_tree_is_counted_once(database, orchard, supervisor):
    with database.write() as connection:
        ids = add_audit(
            connection, orchard, trees(TOP, orchard.worker_ids[0], "xxo"), started_at=day(1)
        )
        amend_tree(connection, orchard, ids, 2, {TOP: right(orchard.worker_ids[0])})
    page = words_of(supervisor.get(page_of(orchard, 0)))
    assert "2 of 3 trees right." in page
    assert page.count("Too high") == 1


@pytest.mark.parametrize("query", ["", "?sort=rate", "?order=signal", "?sort=-nonconforming"])
def test_the_list_goes_by_name_whatever_is_asked_for(database, orchard, supervisor, query):
    for shift, worker_id in enumerate(orchard.worker_ids):
        score(database, orchard, ["o" * 12, "xo" * 6, "x" * shift + "o" * 10], worker_id=worker_id)
    answer = supervisor.get(f"/workers{query}")
    names = re.findall(r'<a class="row-title"[^>]*>([^<]+)</a>', answer.text)
    assert names[:-1] == [
        "Aurelio Barranco",
        "Fermín Olmedo",
        "Maribel Sotelo",
        "Nélida Quintanar",
        "Ovidio Carrizal",
        "Tess Harrowgate",
    ]
    assert names[-1] == "Crew A"
    assert not re.search(r"\b(rank|best|worst|place \d)\b", answer.text, re.IGNORECASE)


def test_a_worker_without_trees_reads_what_it_takes(mine, supervisor):
    assert "No tree of this season counts for one person yet." in words_of(
        mine.get("/workers/mine")
    )
    assert "No tree was due yet." in words_of(supervisor.get("/workers"))


def test_another_season_is_chosen_by_its_name(database, orchard, supervisor):
    score(database, orchard, ["oo"])
    with database.write() as connection:
        add_audit(connection, orchard, trees(TOP, orchard.worker_ids[0], "x"), started_at=day(-300))
    page = supervisor.get(page_of(orchard, 0))
    assert '<option value="2025" selected>2025/26</option>' in page.text
    assert '<option value="2024">2024/25</option>' in page.text
    assert "2 of 2 trees right." in words_of(page)
    assert "0 of 1 tree right." in words_of(supervisor.get(page_of(orchard, 0) + "?season=2024"))


@pytest.mark.parametrize("season", ["next", "-1", "0", "99999999999", "2026; drop"])
def test_a_season_that_is_none_shows_the_present_one(supervisor, season):
    answer = supervisor.get("/workers", query_string={"season": season})
    assert "Season 2025/26" in words_of(answer)


def test_dates_are_written_in_the_readers_language(database, orchard, sign_in):
    score(database, orchard, ["oox"])
    answer = sign_in(Role.SUPERVISOR, language="es").get(page_of(orchard, 0))
    assert '<html lang="es"' in answer.text
    assert "1 de enero" in answer.text


def test_names_are_written_as_text(database, orchard, supervisor):
    with database.write() as connection:
        connection.execute(worker_name.update().values(name="<b>Bo</b>"))
    assert "&lt;b&gt;Bo&lt;/b&gt;" in supervisor.get("/workers").text
    assert "<b>Bo" not in supervisor.get(page_of(orchard, 0)).text


@pytest.mark.parametrize("audits", [3, 30])
def test_pages_take_as_many_statements_for_few_trees_as_for_many(
    database, orchard, supervisor, audits
):
    """Two of them find the person and the farm, one what is contested."""
    score(database, orchard, ["oxoxoxoxox"] * audits)
    with statements_of(database) as seen:
        supervisor.get(page_of(orchard, 0))
    assert len(seen) == 13
    with statements_of(database) as seen:
        supervisor.get("/workers")
    assert len(seen) == 11


def page_of(orchard, number):
    return f"/workers/{orchard.worker_ids[number]}"


def table_of(page):
    """Return the cells of a page's table, row by row."""
    rows = re.findall(r'<tr role="row">(.*?)</tr>', page.split("<tbody")[1], re.DOTALL)
    return [
        [cell.replace("\u00a0", " ") for cell in re.findall(r"<t[hd][^>]*>([^<]*)</t[hd]>", row)]
        for row in rows
    ]
