"""
Long printing in the background: one file at a time, and the last few kept in memory.

What is kept is bounded in bytes and in files, and belongs to this process alone; after a restart a
file is made again, with the same bytes.
"""

import logging
import threading
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from typing import Final, TypeAlias

from flask import current_app

from audits.errors import AuditError, Busy
from audits.messages import Message, say
from printables.document import Progress

# Writes a file, telling how many of how many pages are done.
Make: TypeAlias = Callable[[Progress], bytes]

_MOST_WAITING: Final = 8
_MOST_FILES: Final = 6
_MOST_BYTES: Final = 48 * 2**20

_logger = logging.getLogger(__name__)


class JobState(StrEnum):
    """Where the making of a file stands."""

    UNKNOWN = "unknown"
    WORKING = "working"
    DONE = "done"
    FAILED = "failed"


@dataclass
class _Job:
    """A file that is to be made, is made, or could not be."""

    make: Make | None
    pages_done: int = 0
    pages: int = 0
    content: bytes | None = None
    problem: Message | None = None

    @property
    def state(self) -> JobState:
        if self.content is not None:
            return JobState.DONE
        return JobState.FAILED if self.problem is not None else JobState.WORKING


@dataclass(frozen=True)
class Standing:
    """How far a file is."""

    state: JobState
    progress: float = 0.0
    problem: Message | None = None


class PrintJobs:
    """Files by their key, the one that was asked for last at the end."""

    def __init__(self, *, most_bytes: int = _MOST_BYTES, most_files: int = _MOST_FILES) -> None:
        self._most_bytes = most_bytes
        self._most_files = most_files
        self._jobs: OrderedDict[str, _Job] = OrderedDict()
        self._lock = threading.Lock()
        self._works = False
        self._thread: threading.Thread | None = None

    def start(self, key: str, make: Make) -> None:
        """Have a file made, unless it is there or on its way; raise Busy if too many wait."""
        with self._lock:
            job = self._jobs.get(key)
            if job is not None and job.state is not JobState.FAILED:
                return
            waiting = sum(job.state is JobState.WORKING for job in self._jobs.values())
            if waiting >= _MOST_WAITING:
                raise Busy(say("Other files are being made. Try again in a minute."))
            self._jobs.pop(key, None)
            self._jobs[key] = _Job(make)
            if self._works:
                return
            self._works = True
        # Ends with the program: a file that was not finished is made again when it is asked for.
        self._thread = threading.Thread(target=self._work, name="print", daemon=True)
        self._thread.start()

    def wait(self) -> None:
        """Wait until nothing is being made."""
        if self._thread is not None:
            self._thread.join()

    def standing(self, key: str) -> Standing:
        """Return how far a file is."""
        with self._lock:
            job = self._jobs.get(key)
            if job is None:
                return Standing(JobState.UNKNOWN)
            done = 1.0 if job.content is not None else job.pages_done / max(job.pages, 1)
            return Standing(job.state, done, job.problem)

    def content(self, key: str) -> bytes | None:
        """Return a file that is there, else None."""
        with self._lock:
            job = self._jobs.get(key)
            if job is None or job.content is None:
                return None
            self._jobs.move_to_end(key)
            return job.content

    def _work(self) -> None:
        """Make one file after the other until none waits."""
        while True:
            with self._lock:
                job = next(
                    (job for job in self._jobs.values() if job.state is JobState.WORKING), None
                )
                if job is None:
                    self._works = False
                    return
            content, problem = self._made(job)
            with self._lock:
                # What it was made from may hold much; the file is all that is needed now.
                job.make = None
                job.content, job.problem = content, problem
                self._forget()

    def _made(self, job: _Job) -> tuple[bytes | None, Message | None]:
        def show(done: int, whole: int) -> None:
            job.pages_done, job.pages = done, whole

        try:
            if job.make is not None:
                return job.make(show), None
        except AuditError as error:
            return None, error.message
        except Exception:
            _logger.exception("a file could not be made")
        return None, say("The file could not be made. Try again.")

    def _forget(self) -> None:
        """Let the files go that were not asked for the longest, but never the newest."""
        kept = [key for key, job in self._jobs.items() if job.state is not JobState.WORKING]
        size = sum(len(self._jobs[key].content or b"") for key in kept)
        for key in kept[:-1]:
            if size <= self._most_bytes and len(kept) <= self._most_files:
                return
            size -= len(self._jobs.pop(key).content or b"")
            kept.remove(key)


def print_jobs() -> PrintJobs:
    """Return the application's files, begun with the first that is asked for."""
    jobs: PrintJobs = current_app.extensions.setdefault("pruning_audit_print_jobs", PrintJobs())
    return jobs
