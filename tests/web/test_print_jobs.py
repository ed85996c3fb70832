"""Long printing in the background: one file at a time, bounded memory, and what went wrong."""

import threading

import pytest

from audits.errors import Busy, InvalidInput
from audits.messages import say
from webapp.printing.jobs import JobState, PrintJobs

DEADLINE_S = 10


def file_of(size: int):
    return lambda _show: bytes(size)


def made(jobs: PrintJobs, key: str, make) -> None:
    jobs.start(key, make)
    jobs.wait()


def test_progress_is_told_while_a_file_is_made():
    jobs, begun, go_on = PrintJobs(), threading.Event(), threading.Event()

    def make(show):
        show(1, 4)
        begun.set()
        assert go_on.wait(DEADLINE_S)
        return b"%PDF"

    assert jobs.standing("deck").state is JobState.UNKNOWN
    jobs.start("deck", make)
    assert begun.wait(DEADLINE_S)
    standing = jobs.standing("deck")
    assert (standing.state, standing.progress) == (JobState.WORKING, 0.25)
    assert jobs.content("deck") is None
    go_on.set()
    jobs.wait()
    assert jobs.standing("deck").progress == 1.0
    assert jobs.content("deck") == b"%PDF"


def test_files_are_made_one_after_the_other():
    jobs, at_work, most = PrintJobs(), [], []

    def make(_show):
        at_work.append(1)
        most.append(len(at_work))
        at_work.pop()
        return b"x"

    for number in range(5):
        jobs.start(f"file-{number}", make)
    jobs.wait()
    assert most == [1] * 5
    assert all(jobs.content(f"file-{number}") for number in range(5))


def test_a_file_that_is_there_or_on_its_way_is_not_made_twice():
    jobs, times = PrintJobs(), []

    def make(_show):
        times.append(1)
        return b"x"

    made(jobs, "deck", make)
    made(jobs, "deck", make)
    assert len(times) == 1


@pytest.mark.parametrize(
    ("error", "sentence"),
    [
        (InvalidInput({"crew_id": say("There is no such worker.")}), "There is no such worker."),
        (RuntimeError("a secret of the machine"), "The file could not be made. Try again."),
    ],
)
def test_what_went_wrong_is_said_and_can_be_tried_again(error, sentence):
    jobs = PrintJobs()

    def fail(_show):
        raise error

    made(jobs, "deck", fail)
    standing = jobs.standing("deck")
    assert standing.state is JobState.FAILED
    assert str(standing.problem) == sentence
    made(jobs, "deck", file_of(3))
    assert jobs.content("deck") == bytes(3)


def test_memory_is_bounded_in_bytes_and_in_files():
    by_size = PrintJobs(most_bytes=250)
    for number in range(4):
        made(by_size, str(number), file_of(100))
    assert [by_size.content(str(number)) is not None for number in range(4)] == [
        False,
        False,
        True,
        True,
    ]
    by_count = PrintJobs(most_files=2)
    for number in range(3):
        made(by_count, str(number), file_of(1))
    assert by_count.content("0") is None
    assert by_count.content("2") is not None


def test_what_was_asked_for_last_stays_and_the_newest_always():
    jobs = PrintJobs(most_bytes=250)
    made(jobs, "old", file_of(100))
    made(jobs, "other", file_of(100))
    assert jobs.content("old") is not None
    made(jobs, "new", file_of(100))
    assert jobs.content("old") is not None
    assert jobs.content("other") is None
    made(jobs, "huge", file_of(9_000))
    assert jobs.content("huge") is not None, "nobody waits for a file in vain"


def test_too_many_waiting_files_are_refused():
    jobs, go_on = PrintJobs(), threading.Event()

    def make(_show):
        assert go_on.wait(DEADLINE_S)
        return b"x"

    for number in range(8):
        jobs.start(str(number), make)
    with pytest.raises(Busy):
        jobs.start("one more", make)
    go_on.set()
    jobs.wait()
