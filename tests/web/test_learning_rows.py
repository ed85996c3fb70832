"""The pages that set learning beside the row."""

import pytest

from audits.vocabulary import Result, Role, Stage
from tests.learned_rows import add_practice, add_quiz
from tests.page_words import words_of
from tests.scored_season import add_audit, day, trees

TOP = Stage.TOP


def test_a_worker_reads_practice_quiz_row_and_curve(database, orchard, sign_in):
    worker_id = orchard.worker_ids[0]
    with database.write() as connection:
        add_practice(connection, orchard, worker_id, [Result.CONFORMING, Result.NONCONFORMING])
        add_quiz(connection, orchard, worker_id, [1, 0, 1])
        for number, pattern in enumerate(["xxxxoxxoxo", "oxoooxoooo", "ooooooxooo", "oooooooooo"]):
            add_audit(
                connection, orchard, trees(TOP, worker_id, pattern), started_at=day(number + 1)
            )
    answer = sign_in(Role.WORKER).get("/learn/rows/mine")
    page = words_of(answer)
    assert "Practice trees 1 of 2 right" in page
    assert "Quiz questions 2 of 3 right" in page
    assert "Faults get fewer: after twice as many trees" in page
    assert "(40 audited trees)" in page
    assert 'class="drawing"' in answer.text


def test_workers_open_their_own_page_and_no_other(orchard, sign_in):
    worker = sign_in(Role.WORKER)
    own, other = orchard.worker_ids[:2]
    assert worker.get(f"/learn/rows/{own}").status_code == 200
    assert worker.get(f"/learn/rows/{other}").status_code in {403, 404}


@pytest.mark.parametrize("language", ["en", "es"])
def test_a_farm_without_results_reads_plainly(sign_in, language):
    owner = sign_in(Role.OWNER)
    owner.post("/language", data={"language": language})
    assert owner.get("/learn/rows").status_code == 200
