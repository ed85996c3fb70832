"""A worker's own pages, and disagreement: one tap, marked everywhere, answered by somebody else."""

import csv
import re
from datetime import timedelta
from io import StringIO
from uuid import uuid4

import pytest

from audits.services import accounts, amending, printing
from audits.storage.queries import contests as queries
from audits.storage.tables import audit, block, contest, double_check, photo, worker_name
from audits.vocabulary import ContestAnswer, Fault, Role, Stage
from tests.orchard import PASSWORD
from tests.page_words import words_of
from tests.printed import order_of
from tests.row_audit import PHONE, assign_halves, audited, fault, first_trees, prune, right
from tests.scored_season import add_audit, amend_tree, day, trees, wrong
from tests.statements import statements_of
from tests.web.conftest import NOW
from tests.web.pages import read_page
from webapp.contests.files import csv_text

HIGH = {"top": fault(Fault.HIGH)}
SEASON = 2025


@pytest.fixture
def mine(sign_in):
    return sign_in(Role.WORKER)


@pytest.fixture
def audit_id(database, orchard) -> int:
    """An audit by the supervisor; the first trees are too high, and some count for the worker."""
    pruned = prune(database, orchard)
    assign_halves(database, orchard, pruned)
    return audited(database, orchard, pruned.lot_ids[0], first_trees(6, **HIGH))


@pytest.fixture
def high_tree(database, orchard, audit_id) -> int:
    """A tree of the worker that is too high."""
    with database.read() as connection:
        found = queries.own_trees(
            connection,
            orchard.farm_id,
            orchard.worker_ids[0],
            SEASON,
            faults_only=True,
            most=1,
        )
    assert found[0].audit_id == audit_id
    return found[0].draw_tree_id


def tap(client, audit_id, tree_id, stage="top", **data):
    return client.post(f"/contests/audits/{audit_id}/trees/{tree_id}/{stage}", data=data)


def contests_of(database):
    with database.read() as connection:
        return connection.execute(contest.select().order_by(contest.c.id)).all()


@pytest.fixture
def second(app, database, orchard):
    """A client of another supervisor, who scored nothing."""
    accounts.add_user(
        database,
        orchard.farm_id,
        name="Lena Ashgrove",
        password=PASSWORD,
        role=Role.SUPERVISOR,
        language="en",
        now=NOW,
    )
    client = app.test_client()
    client.post("/sign-in", data={"name": "Lena Ashgrove", "password": PASSWORD})
    return client


# --- the worker's pages --------------------------------------------------------------------------


def test_a_worker_starts_on_their_own_page_with_large_ways(app, orchard, mine):
    client = app.test_client()
    answer = client.post(
        "/sign-in", data={"name": orchard.sign_ins[Role.WORKER], "password": PASSWORD}
    )
    assert answer.location == "/contests/mine"
    assert client.get("/").location == "/contests/mine"
    page = read_page(mine.get("/contests/mine"))
    assert page.headings == ["My page"]
    ways = {"/learn", "/workers/mine", "/contests/trees", "/safety", "/contests/notice"}
    assert ways <= set(page.links)


def test_own_trees_show_place_result_auditor_standard_and_nobody_elses(mine, audit_id):
    answer = mine.get("/contests/trees")
    page = words_of(answer)
    assert "January 20, 2026: Creek Block, Row 1" in page
    assert "Scored by Saul Brightwater. Standard: version 1." in page
    assert "You can disagree until February 3, 2026." in page
    assert "Too high" in page
    # Row 1 is halved at tree 155: panels beyond the 16th are the other worker's.
    panels = {int(number) for number in re.findall(r"Panel (\d+)", page)}
    assert panels
    assert max(panels) <= 16
    assert audit_id


def test_a_crew_lead_sees_a_workers_trees_and_may_disagree_for_them(
    database, orchard, second, high_tree, audit_id
):
    page = words_of(second.get(f"/contests/workers/{orchard.worker_ids[0]}/trees"))
    assert "Trees of Aurelio Barranco" in page
    answer = tap(second, audit_id, high_tree)
    assert f"/contests/workers/{orchard.worker_ids[0]}/trees" in answer.location
    (row,) = contests_of(database)
    assert row.worker_id == orchard.worker_ids[0]
    assert "Lena Ashgrove" in words_of(second.get("/contests"))
    assert second.get("/contests/workers/999999/trees").status_code == 404


def test_own_trees_come_in_pages_with_a_fixed_number_of_statements(database, orchard, mine):
    worker_id = orchard.worker_ids[0]

    def season_of(days):
        with database.write() as connection:
            for number in days:
                add_audit(
                    connection,
                    orchard,
                    trees(Stage.TOP, worker_id, "ox" * 6),
                    started_at=day(number),
                    row=number % len(orchard.row_ids),
                )

    season_of([1])
    with statements_of(database) as few:
        assert "Page 1" not in words_of(mine.get("/contests/trees"))
    season_of(range(2, 11))
    with statements_of(database) as many:
        first = words_of(mine.get("/contests/trees"))
    assert len(many) == len(few) <= 14
    assert "120 trees." in first
    assert "Page 1 of 6" in first
    assert first.index("January 10, 2026") < first.index("January 9, 2026")
    assert "60 trees with a fault." in words_of(mine.get("/contests/trees?show=faults"))
    last = words_of(mine.get("/contests/trees?page=99"))
    assert "Page 6 of 6" in last
    assert "January 1, 2026" in last


def test_an_amended_score_reads_as_first_scored_and_now(database, orchard, mine):
    with database.write() as connection:
        ids = add_audit(
            connection,
            orchard,
            trees(Stage.TOP, orchard.worker_ids[0], "xo"),
            started_at=day(12),
        )
        amend_tree(
            connection, orchard, ids, 1, {Stage.TOP: wrong(orchard.worker_ids[0], Fault.BLUNT)}
        )
    page = words_of(mine.get("/contests/trees"))
    assert "As first scored: Fault: Too high. Now: Fault: Blunt cut." in page
    assert "Reason: Looked again." in page


def test_the_notice_has_at_most_200_words_in_both_languages(sign_in):
    for language in ("en", "es"):
        text = read_page(sign_in(Role.WORKER, language).get("/contests/notice")).text
        assert 100 < len(text.split()) <= 200


def test_pages_for_reading_aloud_carry_their_language_and_a_hidden_key(sign_in, high_tree):
    assert high_tree
    for language in ("en", "es"):
        client = sign_in(Role.WORKER, language)
        for path in ("/contests/mine", "/contests/trees", "/contests/notice"):
            text = client.get(path).text
            assert f'<html lang="{language}"' in text
            assert re.search(
                r'<button class="button" type="button" hidden [^>]*data-read-aloud', text
            )
            assert "js/read_aloud.js" in text


# --- disagreeing ---------------------------------------------------------------------------------


def test_one_tap_disagrees_and_words_may_follow(database, mine, high_tree, audit_id):
    answer = tap(mine, audit_id, high_tree, back_page=1, back_show="faults")
    assert answer.location == (
        f"/contests/trees?show=faults&page=1#score-{audit_id}-{high_tree}-top"
    )
    tap(mine, audit_id, high_tree)
    (row,) = contests_of(database)
    assert "Noted: you disagree." in words_of(mine.get("/contests/trees"))

    words = mine.get(f"/contests/{row.id}/words")
    assert words.status_code == 200
    mine.post(f"/contests/{row.id}/words", data={"words": "The pole stood in a hole."})
    assert "Your words: The pole stood in a hole." in words_of(mine.get("/contests/trees"))
    too_many = mine.post(f"/contests/{row.id}/words", data={"words": "x" * 2_000})
    assert too_many.status_code == 422
    assert "Use at most 1,000 letters." in read_page(too_many).text

    mine.post(f"/contests/{row.id}/take-back")
    page = words_of(mine.get("/contests/trees"))
    assert "Taken back" in page
    assert "I disagree" in page


def test_a_tap_that_comes_too_late_is_told_so(database, mine, high_tree, audit_id):
    with database.write() as connection:
        connection.execute(audit.update().values(sealed_at=NOW - timedelta(days=15)))
    assert "I disagree" not in words_of(mine.get("/contests/trees"))
    tap(mine, audit_id, high_tree)
    assert "You could disagree until Jan 19, 2026." in words_of(mine.get("/contests/trees"))
    assert not contests_of(database)


def test_a_worker_reaches_nothing_of_somebody_else(
    app, database, orchard, second, high_tree, audit_id
):
    accounts.add_user(
        database,
        orchard.farm_id,
        name="Nélida",
        password=PASSWORD,
        role=Role.WORKER,
        language="en",
        now=NOW,
        worker_id=orchard.worker_ids[1],
    )
    other = app.test_client()
    other.post("/sign-in", data={"name": "Nélida", "password": PASSWORD})
    tap(second, audit_id, high_tree)
    (row,) = contests_of(database)
    photo_id = add_photo(database, orchard, audit_id, high_tree)

    asked = {
        "photo": other.get(f"/contests/photos/{photo_id}"),
        "tap": tap(other, audit_id, high_tree),
        "words": other.get(f"/contests/{row.id}/words"),
        "say": other.post(f"/contests/{row.id}/words", data={"words": "Mine"}),
        "take back": other.post(f"/contests/{row.id}/take-back"),
        "trees": other.get(f"/contests/workers/{orchard.worker_ids[0]}/trees"),
        "list": other.get("/contests"),
        "answer": other.post(f"/contests/{row.id}", data={"reason": "Mine"}),
        "change": other.get(f"/contests/{row.id}/change"),
    }
    assert {name: answer.status_code for name, answer in asked.items()} == {
        "photo": 404,
        "tap": 404,
        "words": 404,
        "say": 404,
        "take back": 404,
        "trees": 403,
        "list": 403,
        "answer": 403,
        "change": 403,
    }
    assert "Aurelio" not in other.get("/contests/trees").text
    assert [(kept.words, kept.answered_at) for kept in contests_of(database)] == [("", None)]


def add_photo(database, orchard, audit_id, tree_id, stage=Stage.TOP):
    with database.write() as connection:
        return connection.execute(
            photo.insert().values(
                farm_id=orchard.farm_id,
                client_id=str(uuid4()),
                audit_id=audit_id,
                draw_tree_id=tree_id,
                stage=stage,
                content=b"a picture",
                content_hash="0" * 64,
                received_at=NOW,
            )
        ).inserted_primary_key[0]


def test_a_worker_sees_the_photos_of_their_own_scores(
    database, orchard, mine, supervisor, high_tree, audit_id
):
    own = add_photo(database, orchard, audit_id, high_tree)
    assert f"/contests/photos/{own}" in mine.get("/contests/trees").text
    assert mine.get(f"/contests/photos/{own}").data == b"a picture"
    assert supervisor.get(f"/contests/photos/{own}").data == b"a picture"
    with database.read() as connection:
        of_others = connection.scalar(
            queries.tree_score.select()
            .with_only_columns(queries.tree_score.c.draw_tree_id)
            .join(
                queries.stage_score,
                queries.stage_score.c.tree_score_id == queries.tree_score.c.id,
            )
            .where(queries.stage_score.c.worker_id == orchard.worker_ids[1])
        )
    strange = add_photo(database, orchard, audit_id, of_others)
    assert mine.get(f"/contests/photos/{strange}").status_code == 404
    assert mine.get("/contests/photos/999999").status_code == 404


# --- marks ---------------------------------------------------------------------------------------


def test_a_contested_score_is_marked_wherever_it_shows_until_it_is_answered(
    database, mine, supervisor, owner, second, high_tree, audit_id
):
    with database.read() as connection:
        lot_id = connection.scalar(queries.draw.select().with_only_columns(queries.draw.c.lot_id))
    pages = {
        "trees": (mine, "/contests/trees", "Contested: waits for an answer"),
        "audit": (supervisor, f"/audits/{audit_id}/trees", "1 score in these figures is contested"),
        "amend": (supervisor, f"/audits/{audit_id}/trees/{high_tree}/amend", "contested: Top"),
        "lot": (supervisor, f"/lots/{lot_id}", "1 score contested"),
        "work": (mine, "/workers/mine", "1 of them contested"),
        "comparison": (
            supervisor,
            "/comparison?stage=top",
            "1 score in these figures is contested",
        ),
        "coaching": (mine, "/coaching/mine", "1 of them contested"),
        "season": (owner, "/season", "1 score in these figures is contested"),
        "today": (second, "/", "Top: Creek Block, Row 1"),
    }

    def marked():
        return {
            name
            for name, (client, path, words) in pages.items()
            if words in words_of(client.get(path))
        }

    assert not marked()
    tap(mine, audit_id, high_tree)
    mine.get("/contests/trees")
    assert marked() == set(pages)
    # Beside the rate, and at the tree among the last faults.
    assert words_of(mine.get("/workers/mine")).count("contested") == 2
    (row,) = contests_of(database)
    second.post(f"/contests/{row.id}", data={"reason": "Measured it again."})
    second.get("/contests")
    assert not marked()


# --- answering -----------------------------------------------------------------------------------


def test_whoever_scored_is_told_that_a_second_person_answers(
    database, supervisor, mine, high_tree, audit_id
):
    tap(mine, audit_id, high_tree)
    (row,) = contests_of(database)
    for path in ("/contests", f"/contests/{row.id}"):
        page = words_of(supervisor.get(path))
        assert "You gave this score. A second person has to answer." in page
        assert "Your reason" not in page
    assert supervisor.get(f"/contests/{row.id}/change").status_code == 302
    supervisor.post(f"/contests/{row.id}", data={"reason": "I am sure"})
    assert contests_of(database)[0].answered_at is None


def test_an_answer_needs_a_reason_and_the_worker_reads_it(
    database, second, mine, high_tree, audit_id
):
    tap(mine, audit_id, high_tree)
    (row,) = contests_of(database)
    empty = second.post(f"/contests/{row.id}", data={"reason": " "})
    assert empty.status_code == 422
    assert read_page(empty).problems["reason"] == "Write a reason. The worker reads it."
    second.post(f"/contests/{row.id}", data={"reason": "Measured it again: too high."})
    late = second.post(f"/contests/{row.id}", data={"reason": "Again"})
    assert late.status_code == 302
    assert "Lena Ashgrove has answered this already." in words_of(second.get("/contests"))
    for path in ("/contests/mine", "/contests/trees"):
        page = words_of(mine.get(path))
        assert "The score stands" in page
        assert "Lena Ashgrove answered on January 20, 2026: Measured it again: too high." in page


def test_a_score_is_changed_on_the_page_of_its_stage_alone(
    database, second, mine, high_tree, audit_id
):
    tap(mine, audit_id, high_tree)
    (row,) = contests_of(database)
    path = f"/contests/{row.id}/change"
    text = second.get(path).text
    assert 'data-stage="top"' in text
    assert 'data-stage="limbs"' not in text
    entry = {"client_id": str(uuid4()), "top": "right", "reason": "The pole stood in a hole."}
    assert second.post(path, data=entry | {"reason": ""}).status_code == 422
    same = second.post(path, data=entry | {"top": "fault", "top_faults": "high"})
    assert same.status_code == 422
    assert "This is the score as it is." in read_page(same).text
    unanswered = second.post(path, data=entry | {"top": ""})
    assert unanswered.status_code == 422
    assert second.post(path, data=entry).location == "/contests"
    page = words_of(mine.get("/contests/trees"))
    assert "The score was changed" in page
    assert "As first scored: Fault: Too high. Now: Right." in page


def test_a_score_is_changed_by_no_gauge_whose_scale_is_not_checked(
    database, orchard, second, mine, high_tree, audit_id
):
    tap(mine, audit_id, high_tree, "heading")
    (row,) = contests_of(database)
    printing.make_batch(database, orchard.supervisor, order_of(orchard), NOW)
    path = f"/contests/{row.id}/change"
    entry = {"client_id": str(uuid4()), "reason": "Measured again.", "heading_left_long": "0"}
    # Inches, well beyond the pencil band.
    entry |= {"heading_diameters": "3/4; 3/4"}
    refused = second.post(path, data=entry | {"gauge": "1"})
    assert refused.status_code == 422
    assert "B1 cannot be used here" in read_page(refused).text
    assert contests_of(database)[0].answered_at is None
    assert second.post(path, data=entry | {"gauge": ""}).location == "/contests"


def test_an_answer_does_not_undo_what_was_amended_meanwhile(
    database, orchard, second, mine, high_tree, audit_id
):
    tap(mine, audit_id, high_tree)
    (row,) = contests_of(database)
    seen = re.search(r'name="version" value="(\d+)"', second.get(f"/contests/{row.id}").text)
    amending.amend_tree(
        database,
        orchard.owner,
        audit_id,
        high_tree,
        answers=right(top=fault(Fault.BLUNT)),
        reason="Seen from the other side",
        client_id=str(uuid4()),
        device=PHONE,
        now=NOW,
    )
    late = {"reason": "Measured it again.", "version": seen[1]}
    for path in (f"/contests/{row.id}", f"/contests/{row.id}/change"):
        entry = late | {"top": "right", "client_id": str(uuid4())}
        answer = second.post(path, data=entry, follow_redirects=True)
        assert "This tree was amended meanwhile." in answer.text
    assert contests_of(database)[0].answered_at is None
    again = late | {"version": int(seen[1]) + 1}
    second.post(f"/contests/{row.id}", data=again)
    assert contests_of(database)[0].answer is ContestAnswer.STANDS


def test_what_waits_longer_than_seven_days_is_late(database, second, mine, high_tree, audit_id):
    tap(mine, audit_id, high_tree)
    assert "Late" not in words_of(second.get("/contests"))
    with database.write() as connection:
        connection.execute(contest.update().values(raised_at=NOW - timedelta(days=8)))
    assert "Late" in words_of(second.get("/contests"))
    assert "Late: answer it" in words_of(second.get("/"))


def test_those_who_may_score_the_trees_unseen_see_no_disagreement_yet(
    database, orchard, second, supervisor, mine, high_tree, audit_id
):
    tap(mine, audit_id, high_tree)
    (row,) = contests_of(database)
    with database.write() as connection:
        draw_id = connection.scalar(audit.select().with_only_columns(audit.c.draw_id))
        connection.execute(double_check.delete())
        connection.execute(
            double_check.insert().values(
                farm_id=orchard.farm_id, draw_id=draw_id, audit_id=audit_id, chosen_at=NOW
            )
        )
    photo_id = add_photo(database, orchard, audit_id, high_tree)
    assert "Too high" in supervisor.get("/contests").text
    hidden = second.get("/contests")
    assert "Too high" not in hidden.text
    assert "1 more shows once a second audit" in words_of(hidden)
    assert second.get(f"/contests/{row.id}").status_code == 403
    assert second.get(f"/contests/photos/{photo_id}").status_code == 403
    trees_page = second.get(f"/contests/workers/{orchard.worker_ids[0]}/trees")
    assert "Too high" not in trees_page.text
    assert second.get(f"/contests/{row.id}/words").status_code == 403
    assert tap(second, audit_id, high_tree).status_code == 403
    answered = "It was too high by a hand"
    with database.write() as connection:
        connection.execute(
            contest.update().values(
                answered_at=NOW, answered_by=1, answer=ContestAnswer.STANDS, reason=answered
            )
        )
    assert answered not in second.get("/contests").text
    assert answered in supervisor.get("/contests").text
    assert "Too high" in mine.get("/contests/trees").text


# --- the file ------------------------------------------------------------------------------------


def test_the_file_holds_each_own_score_and_reads_back(mine, high_tree, audit_id):
    tap(mine, audit_id, high_tree)
    answer = mine.get("/contests/trees.csv")
    assert answer.headers["Content-Type"] == "text/csv; charset=utf-8; header=present"
    assert 'attachment; filename="trees-2025.csv"' in answer.headers["Content-Disposition"]
    text = answer.data.decode("utf-8-sig")
    assert text.count("\r\n") == text.count("\n")
    rows = list(csv.DictReader(StringIO(text, newline="")))
    contested = [row for row in rows if row["Disagreement"]]
    assert [(row["Stage"], row["Result"], row["Faults"]) for row in contested] == [
        ("Top", "Fault", "Too high")
    ]
    assert {row["Auditor"] for row in rows} == {"Saul Brightwater"}
    assert {int(row["Tree"]) <= 155 for row in rows} == {True}


@pytest.mark.parametrize("sign", ["=", "+", "-", "@", "\t", "\r", "\0"])
def test_no_cell_is_taken_for_a_formula(sign):
    # OWASP ASVS 5.0.0, 1.2.10; the quoting of commas, quotes and line ends is RFC 4180's.
    text = csv_text([[f"{sign}1+1", 'say "no", twice', 7]])
    (row,) = csv.reader(StringIO(text, newline=""))
    assert row[0].startswith("'")
    assert row[1:] == ['say "no", twice', "7"]
    assert text.endswith('"say ""no"", twice",7\r\n')


def test_hostile_names_stay_harmless_on_the_pages_and_in_the_file(
    database, mine, high_tree, audit_id
):
    with database.write() as connection:
        connection.execute(block.update().values(name="=cmd|<b>x</b>"))
        connection.execute(worker_name.update().values(name="<script>alert(1)</script>"))
    tap(mine, audit_id, high_tree)
    assert "<script>alert" not in mine.get("/contests/mine").text
    assert "<b>x</b>" not in mine.get("/contests/trees").text
    text = mine.get("/contests/trees.csv").data.decode("utf-8-sig")
    assert "'=cmd|<b>x</b>" in text
