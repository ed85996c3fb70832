"""The print desk answers with documents, and says what is missing at the field."""

import io

import pypdfium2
import pytest

from audits.vocabulary import Role


def pages_of(answer):
    assert answer.status_code == 200, answer.text
    assert answer.mimetype == "application/pdf"
    document = pypdfium2.PdfDocument(io.BytesIO(answer.data))
    texts = []
    for page in document:
        text = page.get_textpage()
        texts.append(text.get_text_bounded())
        text.close()
        page.close()
    document.close()
    return texts


def card_query(orchard, **changes):
    entries = {
        "block_id": orchard.block_id,
        "language": "both",
        "card_format": "a7",
        "method": "ladder",
        "page": "letter",
        "copies": "",
    } | changes
    return {f"card-{name}": value for name, value in entries.items()}


def quiz_query(orchard, **changes):
    entries = {
        "block_id": orchard.block_id,
        "language": "en",
        "variant": "A",
        "seed": "7",
        "method": "ladder",
        "page": "letter",
    } | changes
    return {f"quiz-{name}": value for name, value in entries.items()}


def test_the_desk_offers_cards_and_quizzes(supervisor):
    page = supervisor.get("/print").text
    assert "cards.pdf" in page
    assert "quiz.pdf" in page


@pytest.mark.parametrize("card_format", ["a7", "id_1"])
def test_cards_carry_the_block_and_its_target_height(supervisor, orchard, card_format):
    texts = pages_of(
        supervisor.get(
            "/print/cards.pdf", query_string=card_query(orchard, card_format=card_format)
        )
    )
    assert len(texts) == 2, "one sheet: fronts and backs"
    assert "Creek Block" in texts[0]
    # 0.9 x 11 ft = 9.9 ft, which reads 9 ft 11 in.
    assert "9 ft 11 in" in texts[0].replace("\r\n", " ")


def test_a_quiz_repeats_by_its_seed_and_ends_with_its_key(supervisor, orchard):
    first = supervisor.get("/print/quiz.pdf", query_string=quiz_query(orchard))
    again = supervisor.get("/print/quiz.pdf", query_string=quiz_query(orchard))
    other = supervisor.get("/print/quiz.pdf", query_string=quiz_query(orchard, seed="8"))
    texts = pages_of(first)
    assert "Answer key" in texts[-1]
    assert "Answer key" not in "".join(texts[:-1])
    assert first.data == again.data
    assert first.data != other.data


@pytest.mark.parametrize(
    ("path", "changes", "sentence"),
    [
        ("cards", {"copies": "0"}, "Print between 1 and"),
        ("cards", {"copies": "many"}, "Write a whole number"),
        ("cards", {"page": "foolscap"}, "Not a valid choice"),
        ("quiz", {"seed": ""}, "Fill in this number"),
        ("quiz", {"variant": "Z"}, "Not a valid choice"),
    ],
)
def test_bad_entries_are_named_at_their_field(supervisor, orchard, path, changes, sentence):
    query = (card_query if path == "cards" else quiz_query)(orchard, **changes)
    answer = supervisor.get(f"/print/{path}.pdf", query_string=query)
    assert answer.status_code == 422
    assert sentence in answer.text


def test_workers_do_not_print(sign_in, orchard):
    worker = sign_in(Role.WORKER)
    assert worker.get("/print/quiz.pdf", query_string=quiz_query(orchard)).status_code == 403
