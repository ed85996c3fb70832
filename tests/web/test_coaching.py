"""Coaching: one stage, honest before and after, sign-off by name, and nobody else's sheet."""

import re

import pytest
import sqlalchemy as sa

from audits.storage.tables import stage_learning, training_event, worker
from audits.vocabulary import Fault, Role, Stage
from tests.page_words import words_of
from tests.paper import page_texts
from tests.scored_season import add_audit, day, trees
from tests.web.pages import read_page

TOP, LIMBS, COLUMNS = Stage.TOP, Stage.LIMBS, Stage.COLUMNS
# The worker whose papers come in English.
IN_ENGLISH = 3


def score(database, orchard, patterns, *, person=0, stage=TOP, auditors=2, **options):
    people = (orchard.supervisor.user_id, orchard.owner.user_id)[:auditors]
    worker_id = orchard.worker_ids[person] if person is not None else None
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


def sheet(orchard, person=0, end=""):
    return f"/coaching/{orchard.worker_ids[person]}{end}"


def paper_of(answer) -> str:
    assert answer.status_code == 200, answer.text
    assert answer.mimetype == "application/pdf"
    (text,) = page_texts(answer.data)
    return text


@pytest.fixture
def mine(sign_in):
    return sign_in(Role.WORKER)


def test_nine_due_trees_are_told_in_counts_on_screen_and_paper(database, orchard, supervisor, mine):
    for person in (0, IN_ENGLISH):
        score(database, orchard, ["oox"] * 3, person=person)
    for text in (
        words_of(mine.get("/coaching/mine")),
        words_of(supervisor.get(sheet(orchard))),
        paper_of(supervisor.get(sheet(orchard, IN_ENGLISH, ".pdf"))),
    ):
        assert "%" not in text
        assert "in 10 right" not in text
        assert "standard accepts" not in text
        assert "6 of 9 trees right." in text


def test_29_due_trees_are_shown_as_seen_and_compared_with_nothing(database, orchard, supervisor):
    score(database, orchard, ["x" * 10, "x" * 10, "x" * 9], fault=Fault.BLUNT)
    page = words_of(supervisor.get(sheet(orchard)))
    assert "Work on one thing: Top" in page
    assert "It was seen on some trees. 0 to 2 in 10 right (29 trees). Too few to compare." in page
    assert "standard accepts" not in page
    assert "%" not in page
    assert "Blunt cut , on 29 trees" in page or "Blunt cut, on 29 trees" in page


def test_a_comparable_stage_above_the_standard_is_the_one_thing(database, orchard, supervisor):
    score(database, orchard, ["xxxooooooo"] * 4, fault=Fault.HIGH)
    score(database, orchard, ["oooooooooo"] * 4, stage=LIMBS)
    page = words_of(supervisor.get(sheet(orchard)))
    assert "Work on one thing: Top" in page
    assert "Cut the top at 9 ft 11 in." in page
    assert "A tall top shades the tree." in page
    assert "Pocket card, front: Top." in page
    assert "The last 20 trees, the newest at the end" in page


def test_with_all_well_the_sheet_says_so_and_names_what_went_well(database, orchard, supervisor):
    score(database, orchard, ["oooooooooo"] * 4, stage=COLUMNS)
    page = words_of(supervisor.get(sheet(orchard)))
    assert "Nothing to work on now. This stage went well." in page
    assert "Work on one thing" not in page


def test_workers_open_their_own_pages_only(orchard, mine, supervisor):
    for path in ("/coaching/mine", sheet(orchard), sheet(orchard, end="/stages")):
        assert mine.get(path).status_code == 200
    for path in (
        sheet(orchard, 1),
        sheet(orchard, 1, ".pdf"),
        sheet(orchard, 1, "/stages"),
        "/coaching",
        "/coaching/trainings",
        "/coaching/trainings/new",
        f"/coaching/crews/{orchard.crew_id}",
        f"/coaching/crews/{orchard.crew_id}.pdf",
    ):
        assert mine.get(path).status_code == 403, path
    for path in (sheet(orchard, end="/stages/begin"), sheet(orchard, end="/stages/sign-off")):
        assert mine.post(path, data={"stage": "top"}).status_code == 403
    for path in ("/coaching/9999", "/coaching/9999/stages", "/coaching/crews/9999"):
        assert supervisor.get(path).status_code == 404


def test_a_stage_is_begun_met_and_signed_by_name(database, orchard, supervisor, mine):
    begun = supervisor.post(
        sheet(orchard, end="/stages/begin"), data={"stage": "top", "begun_on": "2026-01-02"}
    )
    assert begun.status_code == 302
    score(database, orchard, ["xxxx", "ooooooooox", "ooooooooo"])
    page = supervisor.get(sheet(orchard, end="/stages"))
    text = words_of(page)
    assert "Begun on Jan 2, 2026 by Saul Brightwater." in text
    assert "1 of 19 due trees wrong so far. At least 1 more due tree is needed." in text
    assert "is signed off within 40 trees 97 times in 100." in text
    assert "Sign off Top as" not in text
    refused = supervisor.post(sheet(orchard, end="/stages/sign-off"), data={"stage": "top"})
    assert refused.status_code == 409
    assert "The rule for Top is not met yet" in read_page(refused).text
    with database.write() as connection:
        add_audit(connection, orchard, trees(TOP, orchard.worker_ids[0], "o"), started_at=day(4))
    assert "Sign off Top as Saul Brightwater" in words_of(
        supervisor.get(sheet(orchard, end="/stages"))
    )
    supervisor.post(sheet(orchard, end="/stages/sign-off"), data={"stage": "top"})
    own = words_of(mine.get(sheet(orchard, end="/stages")))
    assert "Signed off on Jan 20, 2026 by Saul Brightwater: 1 of 20 trees wrong." in own
    assert "Begin a stage" not in own


@pytest.mark.parametrize(
    ("entries", "problem"),
    [
        ({"stage": "top", "begun_on": "2026-02-01"}, "This day is still to come."),
        ({"stage": "top", "begun_on": "2025-01-01"}, "Choose a day of the last 30 days."),
        ({"stage": "roots", "begun_on": "2026-01-10"}, "Nothing was saved yet Stage:"),
        ({"stage": "top"}, "Fill in this day."),
    ],
)
def test_a_stage_that_cannot_begin_is_refused_and_nothing_kept(
    database, orchard, supervisor, entries, problem
):
    answer = supervisor.post(sheet(orchard, end="/stages/begin"), data=entries)
    assert answer.status_code == 422
    assert problem in read_page(answer).text
    with database.read() as connection:
        assert not connection.scalar(sa.select(sa.func.count()).select_from(stage_learning))
    answer = supervisor.post(sheet(orchard, end="/stages/sign-off"), data={"stage": "roots"})
    assert answer.status_code == 422


def test_one_stage_at_a_time_is_said_at_the_entry(orchard, supervisor):
    begin = {"stage": "top", "begun_on": "2026-01-10"}
    supervisor.post(sheet(orchard, end="/stages/begin"), data=begin)
    answer = supervisor.post(sheet(orchard, end="/stages/begin"), data=begin | {"stage": "limbs"})
    assert answer.status_code == 422
    assert "One stage at a time: Top is still being learned." in read_page(answer).text
    supervisor.post(sheet(orchard, end="/stages/take-back"), data={"stage": "top"})
    assert "Begin a stage" in words_of(supervisor.get(sheet(orchard, end="/stages")))


def note(client, orchard, people=(0, 1), **changes):
    entries = {
        "worker_ids": [orchard.worker_ids[person] for person in people],
        "stage": "top",
        "kind": "in_row",
        "held_on": "2026-01-02",
        "note": "At row 3.",
    }
    return client.post("/coaching/trainings/new", data=entries | changes)


def test_a_training_is_noted_for_several_and_its_effect_keeps_the_floors(
    database, orchard, supervisor
):
    asked = read_page(supervisor.get(f"/coaching/trainings/new?crew_id={orchard.crew_id}"))
    assert asked.values["held_on"] == "2026-01-20"
    assert not asked.unlabelled
    assert note(supervisor, orchard).status_code == 302
    score(database, orchard, ["xxxoooooo", "xx", "oooooooooo"])
    text = words_of(supervisor.get("/coaching/trainings"))
    assert "Nélida Quintanar (W2)" in text
    assert "Before: 3 of 9 trees wrong. After: 0 of 10 trees wrong." in text
    assert "Too few to say whether it helped. It takes 30 due trees on each side." in text
    assert "People are mostly trained when they have just been unlucky." in text
    assert "Of 100 trees" not in text
    with database.read() as connection:
        event_id = connection.scalar(sa.select(sa.func.min(training_event.c.id)))
    one = words_of(supervisor.get(f"/coaching/trainings/{event_id}?days=14"))
    assert "Before: 3 of 9 trees wrong." in one
    assert "Since then: 0 of 10." in words_of(supervisor.get(sheet(orchard)))
    supervisor.post(f"/coaching/trainings/{event_id}/take-out")
    assert supervisor.get(f"/coaching/trainings/{event_id}").status_code == 404


@pytest.mark.parametrize(
    ("changes", "problems"),
    [
        ({"worker_ids": []}, {"worker_ids": "Choose who was there."}),
        ({"held_on": "2026-02-02"}, {"held_on": "This day is still to come."}),
        ({"stage": "roots"}, {"stage": "Choose one."}),
        ({"note": "x" * 401}, {"note": "Use at most 400 characters."}),
    ],
)
def test_a_training_that_cannot_be_noted_is_refused_at_its_entry(
    database, orchard, supervisor, changes, problems
):
    answer = note(supervisor, orchard, **changes)
    assert answer.status_code == 422
    assert set(read_page(answer).problems) == set(problems)
    with database.read() as connection:
        assert not connection.scalar(sa.select(sa.func.count()).select_from(training_event))


def crew(orchard, end=""):
    return f"/coaching/crews/{orchard.crew_id}{end}"


def test_a_crew_is_shown_as_one_and_people_only_by_signal(database, orchard, supervisor):
    score(database, orchard, ["xoooooooo"], fault=Fault.BLUNT)
    score(database, orchard, ["ooooo", "xxoooo"], person=None, fault=Fault.HIGH)
    text = words_of(supervisor.get(crew(orchard)))
    assert "6 to 10 in 10 right (20 trees). Too few to compare." in text
    assert text.index("Too high") < text.index("Blunt cut")
    assert "Nobody has a signal." in text
    assert "Aurelio Barranco" not in text
    paper = paper_of(supervisor.get(crew(orchard, ".pdf?page=a4")))
    assert "6 to 10 in 10 right (20 trees). Too few to compare." in paper
    assert "nobody has a signal." in paper


@pytest.mark.parametrize(
    ("pattern", "words"), [("x" * 9, "0 of 9 trees right."), ("x" * 29, "0 to")]
)
def test_a_crew_below_the_floors_gets_no_per_cent_and_no_next_stage(
    database, orchard, supervisor, pattern, words
):
    score(database, orchard, [pattern], person=None)
    for text in (
        words_of(supervisor.get(crew(orchard))),
        paper_of(supervisor.get(crew(orchard, ".pdf"))),
    ):
        assert words in text
        assert "%" not in text
        assert "othing stands out." in text


def test_a_small_crew_has_neither_figures_nor_names_on_paper(database, orchard, supervisor):
    score(database, orchard, ["o" * 10, "o" * 10, "o" * 10, "x" * 10], fault=Fault.BLUNT)
    with database.write() as connection:
        some = orchard.worker_ids[4:]
        connection.execute(worker.update().where(worker.c.id.in_(some)).values(retired=True))
    paper = paper_of(supervisor.get(crew(orchard, ".pdf")))
    assert "fewer than 5 people, so its figures are not shown." in paper
    assert "Blunt cut" in paper
    for hidden in ("Aurelio", "10 trees", "of 40", "in 10", "Go and look"):
        assert hidden not in paper


def test_sheets_are_offered_at_the_print_desk_and_come_in_the_workers_language(
    database, orchard, supervisor
):
    score(database, orchard, ["xxxooooooo"] * 4, person=3)
    desk = read_page(supervisor.get("/print"))
    assert "Crew leader's sheet" in desk.text
    assert not desk.unlabelled
    paper = paper_of(
        supervisor.get(f"/print/coaching.pdf?worker_id={orchard.worker_ids[3]}&page=a4")
    )
    assert "Coaching sheet: Tess Harrowgate (W4)" in paper
    assert "Work on one thing: Top" in paper
    assert paper_of(
        supervisor.get(f"/print/crew.pdf?crew_id={orchard.crew_id}&page=letter&language=en")
    )
    assert supervisor.get("/print/coaching.pdf?worker_id=9999").status_code == 422
    assert supervisor.get("/print/crew.pdf?crew_id=1&page=a9&language=en").status_code == 422


def test_pages_list_people_by_name(orchard, supervisor):
    answer = supervisor.get("/coaching")
    names = re.findall(r'href="/coaching/\d+">([^<]+)<', answer.text)
    assert names == sorted(names, key=str.casefold)
    assert len(names) == len(orchard.worker_ids)


def test_every_page_opens_in_spanish(database, orchard, sign_in):
    score(database, orchard, ["xxxooooooo"] * 4)
    client = sign_in(Role.SUPERVISOR, "es")
    note(client, orchard)
    for path in (
        "/coaching",
        sheet(orchard),
        sheet(orchard, end="/stages"),
        sheet(orchard, end="/stages/begin"),
        crew(orchard),
        "/coaching/trainings",
        "/coaching/trainings/new",
        "/coaching/trainings/1",
    ):
        answer = client.get(path)
        assert answer.status_code == 200, path
        assert '<html lang="es"' in answer.text
    assert client.get(crew(orchard, ".pdf")).status_code == 200
