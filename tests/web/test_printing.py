"""The print desk: choices, the first page, the paper, and what is recorded of it."""

import io
import re
from datetime import timedelta

import pypdfium2
import pytest

from audits.services import farms, printers, printing, quiz_attempts
from audits.services.item_bank import retire_item
from audits.services.quiz_attempts import QuizPaper
from audits.storage.tables import standard_version
from audits.vocabulary import CheckOccasion, Method, Role, TurnedOver
from tests.web.conftest import NOW
from tests.web.pages import read_page
from webapp.printing import batches
from webapp.printing.choices import read_choices, stored_choices
from webapp.printing.jobs import JobState, print_jobs
from webapp.printing.offers import OFFERS


def texts_of(answer):
    """Return the words of each page of a PDF."""
    assert answer.status_code == 200, answer.text
    assert answer.mimetype == "application/pdf"
    document = pypdfium2.PdfDocument(io.BytesIO(answer.data))
    texts = []
    for page in document:
        text = page.get_textpage()
        texts.append(" ".join(text.get_text_bounded().split()))
        text.close()
        page.close()
    document.close()
    return texts


def place_of(words, answer):
    """Return where words first stand on the first back, in points from the lower left corner."""
    document = pypdfium2.PdfDocument(io.BytesIO(answer.data))
    page = document[1]
    text = page.get_textpage()
    found = text.search(words).get_next()
    left, bottom, _, _ = text.get_charbox(found[0])
    for each in (text, page, document):
        each.close()
    return left, bottom


def card_entry(orchard, **changes):
    return {
        "block_id": orchard.block_id,
        "crew_id": 0,
        "copies": "",
        "language": "both",
        "card_format": "a7",
        "shows": "all_stages",
        "method": "ladder",
        "page": "letter",
        "printer_id": 0,
    } | changes


def quiz_query(orchard, **changes):
    return {
        "block_id": orchard.block_id,
        "answers": "blank",
        "language": "en",
        "variant": "A",
        "style": "words",
        "seed": "7",
        "method": "ladder",
        "page": "letter",
    } | changes


def make_cards(client, orchard, **changes):
    """Make a batch of cards and return its address."""
    answer = client.post("/print/cards", data=card_entry(orchard, **changes))
    assert answer.status_code == 302, read_page(answer).problems
    return answer.location


def number_of(address: str) -> int:
    return int(address.rpartition("/")[2])


# --- choosing and looking ------------------------------------------------------------------------


def test_the_desk_leads_to_everything_that_can_be_printed(owner, supervisor):
    for client, is_owner in ((owner, True), (supervisor, False)):
        links = read_page(client.get("/print")).links
        offered = {f"/print/{offer.key}" for offer in OFFERS}
        # The season's report is the owner's.
        assert offered - set(links) == (set() if is_owner else {"/print/season"})
        assert {"/print/batches", "/print/printers"} <= set(links)


@pytest.mark.parametrize("offer", OFFERS, ids=lambda offer: offer.key)
def test_every_thing_opens_with_what_is_usual_and_its_first_page(owner, offer):
    answer = owner.get(f"/print/{offer.key}")
    page = read_page(answer)
    assert answer.status_code == 200
    assert not page.unlabelled
    # Nothing is signed off, in rework or being audited on this farm.
    if offer.key in {"certificate", "tally", "rework"}:
        assert 'class="drawing"' not in answer.text
    else:
        assert 'class="leaf-paper' in answer.text
        assert re.search(r"Page 1 of \d+|1 page", page.text)


def test_the_block_that_one_came_from_is_chosen_ahead(supervisor, database, orchard):
    other = farms.add_block(
        database,
        orchard.owner,
        name="Alder Block",
        cultivar="Hollow Red",
        habit="standard",
        row_spacing_mm=3353.0,
        tree_spacing_mm=914.0,
        rootstock="M.9",
    )
    links = read_page(supervisor.get(f"/print?block_id={other}")).links
    assert f"/print/cards?block_id={other}" in links
    assert "/print/coaching" in links
    chosen = read_page(supervisor.get(f"/print/cards?block_id={other}"))
    assert chosen.values["block_id"] == str(other)
    # It is first by name, so that the other one shows that the address counts.
    assert read_page(supervisor.get(f"/print/cards?block_id={orchard.block_id}")).values[
        "block_id"
    ] == str(orchard.block_id)
    # Without a standard there is nothing to show, and nobody was refused yet.
    assert "has no standard in force" in chosen.text
    assert not chosen.problems


def test_the_first_page_follows_the_choices(supervisor, orchard):
    entry = card_entry(orchard, crew_id=orchard.crew_id)
    answer = supervisor.get("/print/cards/preview", query_string=entry)
    assert answer.status_code == 200
    assert "<html" not in answer.text
    assert "Nélida" in answer.text
    assert "Page 1 of 4" in answer.text
    without = supervisor.get("/print/cards/preview", query_string=card_entry(orchard))
    assert "Nélida" not in without.text
    refused = supervisor.get("/print/cards/preview", query_string=entry | {"copies": "0"})
    assert "How many of each: Print between 1 and" in refused.text
    assert 'class="drawing"' not in refused.text


def test_a_preview_writes_nothing(supervisor, database, orchard):
    supervisor.get("/print/cards/preview", query_string=card_entry(orchard))
    page = supervisor.post("/print/cards", data=card_entry(orchard, copies="3", preview="1"))
    assert page.status_code == 200
    assert "Page 1 of" in page.text
    assert read_page(page).values["copies"] == "3"
    assert printing.batch_views(database, orchard.supervisor, NOW) == []


def test_the_key_without_scripts_shows_the_page_of_a_sheet(supervisor, orchard):
    page = supervisor.get("/print/quiz", query_string=quiz_query(orchard, preview="1"))
    assert page.status_code == 200
    assert 'class="leaf-paper' in page.text
    assert read_page(page).values["seed"] == "7"


# --- paper that is not recorded ------------------------------------------------------------------


def test_a_quiz_repeats_by_its_seed(supervisor, orchard):
    first = supervisor.get("/print/quiz.pdf", query_string=quiz_query(orchard))
    again = supervisor.get("/print/quiz.pdf", query_string=quiz_query(orchard))
    other = supervisor.get("/print/quiz.pdf", query_string=quiz_query(orchard, seed="8"))
    texts = texts_of(first)
    assert "Answer key" in texts[-1]
    assert "Answer key" not in "".join(texts[:-1])
    assert first.data == again.data
    assert first.data != other.data


def test_a_quiz_has_an_answer_sheet_for_each_of_a_crew(supervisor, orchard):
    def sheets(answers):
        query = quiz_query(orchard, answers=answers)
        return texts_of(supervisor.get("/print/quiz.pdf", query_string=query))

    beside = sheets("questions")
    assert len(sheets("blank")) == len(beside) + 1
    alone = sheets(f"worker-{orchard.worker_ids[3]}")
    assert "Tess Harrowgate" in alone[-2]
    crew = sheets(f"crew-{orchard.crew_id}")
    assert len(crew) == len(beside) + 6
    assert "Aurelio Barranco" in crew[-7]
    assert "Answer key" in crew[-1]


def test_all_variants_are_printed_with_their_keys_last(supervisor, orchard):
    def printed(**changes):
        query = quiz_query(orchard, variant="all", **changes)
        return texts_of(supervisor.get("/print/quiz.pdf", query_string=query))

    blank = printed()
    assert ["Answer key" in text for text in blank[-5:]] == [False, True, True, True, True]
    assert [sum(f"variant {name}" in text for text in blank[-4:]) for name in "ABCD"] == [1] * 4
    sheets = [text for text in blank if "Answer sheet" in text]
    assert [name for text in sheets for name in "ABCD" if f"variant {name}" in text] == [*"ABCD"]
    # Six people take turns among four variants, so that neighbours differ.
    crew = [text for text in printed(answers=f"crew-{orchard.crew_id}") if "Answer sheet" in text]
    assert [name for text in crew for name in "ABCD" if f"variant {name}" in text] == [*"AABBCD"]


def test_a_quiz_in_pictures_says_so_and_its_key_names_the_pass_mark(supervisor, orchard):
    query = quiz_query(orchard, style="pictures")
    texts = texts_of(supervisor.get("/print/quiz.pdf", query_string=query))
    assert all("variant A, in pictures" in text for text in texts)
    assert "Passed with 8 of 10 or more. By guessing alone, 1 in" in texts[-1]


def test_a_retired_item_is_not_printed(supervisor, database, orchard):
    """The list in force when a quiz is printed goes into it; paper names none of it."""
    paper = QuizPaper(orchard.standard_id, 7, "A", Method.LADDER, "en")
    first, *_ = quiz_attempts.quiz_of(database, orchard.supervisor, paper).questions
    before = supervisor.get("/print/quiz.pdf", query_string=quiz_query(orchard))
    retire_item(database, orchard.owner, first.item, reason="It misleads.", now=NOW)
    now = quiz_attempts.paper_now(database, orchard.supervisor, paper)
    after = supervisor.get("/print/quiz.pdf", query_string=quiz_query(orchard))
    assert before.data != after.data
    asked = quiz_attempts.quiz_of(database, orchard.supervisor, now).questions
    assert first.item not in {question.item for question in asked}
    text = " ".join(texts_of(after))
    assert all(str(question.stem) in text for question in asked)


@pytest.mark.parametrize(
    ("path", "query", "words"),
    [
        ("gauges", None, None),
        ("model-trees", {"block_id": 1, "method": "ladder", "language": "es"}, "Creek Block"),
        ("safety", {"block_id": 0, "crew_id": 1, "method": "platform", "language": "en"}, "Tess"),
        ("no-start", {"crew_id": 1, "method": "ladder", "language": "en"}, "Tess"),
        ("training", {"worker_id": 4}, "Tess Harrowgate"),
        ("crew", {"crew_id": 1, "language": "en"}, "Crew A"),
        ("season", {"season": 2025, "language": "en"}, "2025/26"),
        ("duplex-test", {"printer_id": 0, "language": "en"}, "Turn the sheet"),
    ],
)
def test_sheets_come_as_chosen(owner, path, query, words):
    if query is None:
        assert owner.get(f"/print/{path}.pdf").status_code == 404, "gauges are made as a batch"
        return
    texts = texts_of(owner.get(f"/print/{path}.pdf", query_string=query | {"page": "a4"}))
    assert words in " ".join(texts)


def test_a_poster_comes_on_large_paper(supervisor, orchard):
    query = {"block_id": orchard.block_id, "language": "en", "method": "ladder"}
    answer = supervisor.get("/print/poster.pdf", query_string=query | {"page": "a3"})
    document = pypdfium2.PdfDocument(io.BytesIO(answer.data))
    # ISO 216: A3 is 297 x 420 mm.
    assert document[0].get_size() == pytest.approx((297 / 25.4 * 72, 420 / 25.4 * 72), abs=0.1)
    document.close()
    refused = supervisor.get("/print/poster.pdf", query_string=query | {"page": "a4"})
    assert refused.status_code == 422


def test_a_certificate_without_a_sign_off_says_so(supervisor, orchard):
    query = {"worker_id": orchard.worker_ids[0], "page": "letter"}
    answer = supervisor.get("/print/certificate.pdf", query_string=query)
    assert answer.status_code == 422
    assert "Nothing was signed off" in read_page(answer).problems["worker_id"]


def test_workers_do_not_print(sign_in, orchard):
    worker = sign_in(Role.WORKER)
    assert worker.get("/print/quiz.pdf", query_string=quiz_query(orchard)).status_code == 403
    assert worker.post("/print/cards", data=card_entry(orchard)).status_code == 403


# --- entries that cannot be ----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("changes", "field", "sentence"),
    [
        ({"copies": "0"}, "copies", "Print between 1 and 250 of each"),
        ({"copies": "251"}, "copies", "Print between 1 and 250 of each"),
        ({"copies": "many"}, "copies", "Write a whole number"),
        ({"page": "foolscap"}, "page", "Not a valid choice"),
        ({"page": "a3"}, "page", "Not a valid choice"),
        ({"block_id": "999"}, "block_id", "Not a valid choice"),
        ({"shows": "large_print", "card_format": "id_1"}, "shows", "Large print needs a larger"),
    ],
)
def test_impossible_cards_are_refused_at_their_field(
    supervisor, database, orchard, changes, field, sentence
):
    answer = supervisor.post("/print/cards", data=card_entry(orchard, copies="7") | changes)
    page = read_page(answer)
    assert answer.status_code == 422
    assert sentence in page.problems[field]
    assert page.values["copies"] == changes.get("copies", "7"), "what was entered stays"
    assert printing.batch_views(database, orchard.supervisor, NOW) == []


def test_a_block_without_a_standard_is_named(supervisor, database, orchard):
    with database.write() as connection:
        connection.execute(
            standard_version.update().values(in_force_from=(NOW + timedelta(days=9)).date())
        )
    answer = supervisor.post("/print/cards", data=card_entry(orchard))
    assert answer.status_code == 422
    assert "Creek Block has no standard in force" in read_page(answer).problems["block_id"]
    refused = supervisor.get("/print/quiz.pdf", query_string=quiz_query(orchard))
    assert refused.status_code == 422


@pytest.mark.parametrize(
    ("name", "sentence"),
    [
        ("Bartholomäus Maximilian Featherstonehaugh-Cholmondeley de la Fuente y Olivares", "long"),
        ("מרים לוי", "letters"),
        ("王小明", "letters"),
    ],
)
def test_a_name_that_cannot_be_printed_is_named_before_anything_is_recorded(
    supervisor, database, orchard, name, sentence
):
    farms.add_worker(
        database,
        orchard.supervisor,
        code="W9",
        name=name,
        language="en",
        crew_id=orchard.crew_id,
    )
    answer = supervisor.post("/print/cards", data=card_entry(orchard, crew_id=orchard.crew_id))
    assert answer.status_code == 422
    problem = read_page(answer).problems["crew_id"]
    assert sentence in problem
    assert name.split()[0] in problem
    assert printing.batch_views(database, orchard.supervisor, NOW) == []


# --- batches -------------------------------------------------------------------------------------


@pytest.mark.parametrize("card_format", ["a7", "id_1", "three_by_five"])
def test_cards_are_a_batch_whose_paper_carries_its_number(supervisor, orchard, card_format):
    address = make_cards(supervisor, orchard, card_format=card_format)
    texts = texts_of(supervisor.get(f"{address}.pdf"))
    assert len(texts) % 2 == 0, "fronts and backs"
    assert "Creek Block" in texts[0]
    # 0.9 x 11 ft = 9.9 ft, which reads 9 ft 11 in.
    assert "9 ft 11 in" in texts[0]
    assert "B1" in texts[1]
    page = read_page(supervisor.get(address))
    assert page.headings == ["Batch B1"]
    assert "Not checked yet" in page.text


def test_everybody_in_a_crew_gets_a_card_in_their_own_language(supervisor, orchard):
    address = make_cards(supervisor, orchard, crew_id=orchard.crew_id)
    fronts = " ".join(texts_of(supervisor.get(f"{address}.pdf"))[::2])
    for name in ("Aurelio", "Nélida", "Fermín", "Tess", "Ovidio", "Maribel"):
        assert fronts.count(name) == 1
    assert "W4" in fronts
    # One of six reads English.
    assert fronts.count("limbs") < fronts.count("ramas")
    assert "6 cards with names, for 6 people" in read_page(supervisor.get(address)).text


def test_batches_of_one_block_are_told_apart_in_the_list(supervisor, orchard):
    make_cards(supervisor, orchard, card_format="id_1", shows="one-top")
    make_cards(supervisor, orchard, crew_id=orchard.crew_id)
    text = read_page(supervisor.get("/print/batches")).text
    assert "Creek Block: Bank card size, 85.6 x 54 mm; One stage, for beginners: Top" in text
    assert "A7, 74 x 105 mm; All stages; 6 cards with names, for 6 people" in text


def test_a_batch_says_what_to_do_where_its_frames_are_cut_off_and_where_it_failed(
    supervisor, orchard
):
    small = make_cards(supervisor, orchard, card_format="id_1")
    large = make_cards(supervisor, orchard, card_format="a7")
    assert "Once cut, these have no frames" in read_page(supervisor.get(small)).text
    assert "Once cut, these have no frames" not in read_page(supervisor.get(large)).text
    unanswered = supervisor.post(small, data={"occasion": "printed"})
    assert unanswered.status_code == 422
    assert "lie between the lines? Choose yes or no." in read_page(unanswered).text
    supervisor.post(small, data={"occasion": "printed", "card_fits": "no"})
    assert "Throw out what was printed" in read_page(supervisor.get(small)).text


def test_one_language_for_all_where_it_is_chosen(supervisor, orchard):
    address = make_cards(supervisor, orchard, crew_id=orchard.crew_id, language="en")
    assert "ramas" not in " ".join(texts_of(supervisor.get(f"{address}.pdf")))


def test_a_batch_prints_again_with_the_same_bytes_whatever_has_changed(
    supervisor, database, orchard
):
    address = make_cards(supervisor, orchard, crew_id=orchard.crew_id)
    first = supervisor.get(f"{address}.pdf").data
    with database.read() as connection:
        before = farms.the_block(connection, orchard.farm_id, orchard.block_id)
    farms.edit_block(
        database,
        orchard.owner,
        before.id,
        name="Renamed Block",
        cultivar=before.cultivar,
        habit=before.habit,
        row_spacing_mm=before.row_spacing_mm,
        tree_spacing_mm=before.tree_spacing_mm,
        rootstock=before.rootstock,
        emergency_location="Gate 9",
    )
    assert supervisor.get(f"{address}.pdf").data == first
    other = make_cards(supervisor, orchard, crew_id=orchard.crew_id)
    assert supervisor.get(f"{other}.pdf").data != first, "a new batch says what holds now"


def test_what_is_stored_names_nobody(supervisor, database, orchard):
    make_cards(supervisor, orchard, crew_id=orchard.crew_id)
    (view,) = printing.batch_views(database, orchard.supervisor, NOW)
    assert not re.search(r"Aurelio|Tess|Maribel", str(view.batch.choices))
    choices = read_choices(view.batch.choices)
    assert stored_choices(choices) == view.batch.choices
    assert [each.worker_id for each in choices.people] == orchard.worker_ids
    assert view.batch.copies == 6


def test_the_code_leads_to_the_block_on_the_farms_own_address(supervisor, database, orchard):
    answer = supervisor.post(
        "/print/cards", data=card_entry(orchard), base_url="http://farm.local:8443"
    )
    # Another host is another browser session.
    assert answer.status_code == 302
    make_cards(supervisor, orchard)
    (view,) = printing.batch_views(database, orchard.supervisor, NOW)
    assert read_choices(view.batch.choices).address == "http://localhost/"
    assert "opened on the machine itself (localhost)" in supervisor.get("/print/cards").text


def test_a_batch_is_checked_and_its_history_kept(supervisor, database, orchard):
    address = make_cards(supervisor, orchard)
    missing = supervisor.post(address, data={"occasion": "printed", "across_mm": "100"})
    assert missing.status_code == 422
    assert set(read_page(missing).problems) == {"card_fits"}
    assert read_page(missing).values["across_mm"] == "100"
    wild = supervisor.post(
        address, data={"occasion": "printed", "card_fits": "yes", "down_mm": "10"}
    )
    assert wild.status_code == 422
    assert "about 100" in read_page(wild).problems["down_mm"]

    entry = {"occasion": "printed", "card_fits": "yes", "across_mm": "100,2", "down_mm": "99.8"}
    passed = supervisor.post(address, data=entry, follow_redirects=True)
    assert "these gauges may be used" in passed.text
    assert "Checked, may be used" in passed.text
    failed = supervisor.post(
        address, data={"occasion": "laminated", "card_fits": "no"}, follow_redirects=True
    )
    page = read_page(failed)
    assert "Did not pass its check" in page.text
    assert "A bank card fits; passed" in page.text
    assert "lying 100.2 mm; standing 99.8 mm" in page.text
    view = printing.batch_view(database, orchard.supervisor, number_of(address), NOW)
    assert [line.check.occasion for line in view.checks] == [
        CheckOccasion.LAMINATED,
        CheckOccasion.PRINTED,
    ]
    assert "Did not pass its check" in supervisor.get("/print/batches").text


def test_a_withdrawn_batch_is_not_printed_again(supervisor, orchard):
    address = make_cards(supervisor, orchard)
    page = supervisor.post(f"{address}/withdraw", follow_redirects=True)
    assert "Batch B1 is withdrawn" in page.text
    assert f"{address}.pdf" not in page.text
    assert supervisor.get(f"{address}.pdf").status_code == 409
    assert supervisor.post(f"{address}/file").status_code == 409
    assert supervisor.get("/print/batches/99").status_code == 404


def test_gauges_are_a_batch_too(supervisor, orchard):
    entry = {
        "block_id": orchard.block_id,
        "copies": "2",
        "language": "es",
        "page": "a4",
        "printer_id": 0,
    }
    answer = supervisor.post("/print/gauges", data=entry)
    texts = texts_of(supervisor.get(f"{answer.location}.pdf"))
    assert len(texts) == 2
    assert "B1" in texts[0]
    refused = supervisor.post("/print/gauges", data=entry | {"copies": "1000"})
    assert "copies" in read_page(refused).problems


# --- long runs -----------------------------------------------------------------------------------


def test_a_long_run_is_made_in_the_background_with_the_same_bytes(
    app, supervisor, orchard, monkeypatch
):
    monkeypatch.setattr(batches, "LONG_RUN", 3)
    address = make_cards(supervisor, orchard, crew_id=orchard.crew_id)
    with app.app_context():
        jobs = print_jobs()
    jobs.wait()
    asked = supervisor.get(f"{address}/file")
    assert asked.json == {"pending": 0, "progress": 1.0}
    made = supervisor.get(f"{address}.pdf")
    assert texts_of(made)
    monkeypatch.setattr(batches, "LONG_RUN", 99)
    assert supervisor.get(f"{address}.pdf").data == made.data


def test_a_file_that_is_gone_is_made_again_when_asked_for(app, supervisor, orchard, monkeypatch):
    address = make_cards(supervisor, orchard, crew_id=orchard.crew_id)
    monkeypatch.setattr(batches, "LONG_RUN", 3)
    assert supervisor.get(f"{address}.pdf").location == address
    page = supervisor.get(address)
    assert "Make the file" in page.text
    with app.app_context():
        jobs = print_jobs()
    assert jobs.standing(f"batch-{orchard.farm_id}-1").state is JobState.UNKNOWN, "GET makes none"
    supervisor.post(f"{address}/file")
    jobs.wait()
    assert texts_of(supervisor.get(f"{address}.pdf"))


# --- printers ------------------------------------------------------------------------------------


def test_a_printers_correction_moves_the_backs_of_its_cards(supervisor, database, orchard):
    entry = {"name": "Office", "turned_over": "long_edge"}
    added = supervisor.post("/print/printers/new", data=entry)
    assert added.status_code == 302
    printer = added.location
    printer_id = number_of(printer)
    saved = supervisor.post(
        printer, data=entry | {"back_right_mm": "1,5", "back_down_mm": "\N{MINUS SIGN}0.5"}
    )
    assert saved.status_code == 302
    page = read_page(supervisor.get(printer))
    assert "1.5 mm to the right, -0.5 mm downwards" in page.text
    assert f"/print/duplex-test?printer_id={printer_id}" in page.links
    test_page = " ".join(
        texts_of(
            supervisor.get(
                "/print/duplex-test.pdf",
                query_string={"printer_id": printer_id, "language": "en", "page": "letter"},
            )
        )
    )
    assert "1.5 to the right, -0.5 downwards" in test_page

    plain = make_cards(supervisor, orchard)
    moved = make_cards(supervisor, orchard, printer_id=printer_id)
    first = supervisor.get(f"{moved}.pdf")
    places = [place_of("50 mm", answer) for answer in (supervisor.get(f"{plain}.pdf"), first)]
    right, up = (places[1][axis] - places[0][axis] for axis in (0, 1))
    assert (right / 72 * 25.4, up / 72 * 25.4) == pytest.approx((1.5, 0.5), abs=0.01)
    # A correction that is entered later holds for later batches.
    printers.edit_printer(
        database, orchard.supervisor, printer_id, name="Office", turned_over=TurnedOver.SHORT_EDGE
    )
    assert supervisor.get(f"{moved}.pdf").data == first.data


@pytest.mark.parametrize(
    ("changes", "field", "sentence"),
    [
        ({"name": ""}, "name", ""),
        ({"back_right_mm": "far"}, "back_right_mm", "as the scale shows it"),
        ({"back_down_mm": "7"}, "back_down_mm", "Enter between -5 and 5 mm"),
    ],
)
def test_a_correction_that_cannot_be_is_refused_at_its_field(
    supervisor, database, orchard, changes, field, sentence
):
    printer_id = printers.add_printer(
        database, orchard.supervisor, name="Office", turned_over=TurnedOver.LONG_EDGE
    )
    entry = {"name": "Office", "turned_over": "long_edge", "back_right_mm": "1"} | changes
    answer = supervisor.post(f"/print/printers/{printer_id}", data=entry)
    assert answer.status_code == 422
    assert sentence in read_page(answer).problems[field]


def test_a_printer_that_is_not_used_any_more_is_not_offered(supervisor, database, orchard):
    printer_id = printers.add_printer(
        database, orchard.supervisor, name="Attic", turned_over=TurnedOver.LONG_EDGE
    )
    assert "Attic" in supervisor.get("/print/cards").text
    entry = {"name": "Attic", "turned_over": "long_edge", "retired": "y"}
    supervisor.post(f"/print/printers/{printer_id}", data=entry)
    assert "Attic" not in supervisor.get("/print/cards").text
    assert "not used any more" in supervisor.get("/print/printers").text
