"""
One worker's page against the driver fetching the same rows, render included in both.

A season of 60 audits of 20 trees in four stages, 4,800 due trees of one worker, beside as many of
two others. The baseline sends the page's own statements through `sqlite3`, fetches all rows, and
renders the same page; ours reads, charts and renders it. Its rows alone are told for the record.
"""

import sqlite3
import tempfile
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

from flask import g
from sqlalchemy import event

from audits.services.trends import worker_trend
from audits.storage.database import Database
from audits.storage.schema import upgrade
from audits.vocabulary import STAGE_FAULTS, Stage
from tests.benchmarks.timing import Line, at_most, for_the_record, take_turns
from tests.orchard import Orchard, plant_orchard
from tests.scored_season import SEASON, add_audit, day, right, wrong
from webapp.app import create_app
from webapp.config import Settings
from webapp.workers import routes

NOW = datetime(2026, 1, 20, 17, 0, tzinfo=UTC)
AUDITS, TREES, WORKERS = 60, 20, 3


def lines() -> Iterator[Line]:
    """Measure the page of a worker with a whole season."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "farm.db"
        database = Database(f"sqlite:///{path}", durable=False)
        upgrade(database)
        orchard = plant_orchard(database, NOW)
        _score(database, orchard)
        yield from _lines(database, orchard, path)
        database.close()


def _lines(database: Database, orchard: Orchard, path: Path) -> Iterator[Line]:
    worker_id = orchard.worker_ids[0]

    def read():
        return worker_trend(database, orchard.supervisor, worker_id, SEASON)

    statements = _statements_of(database, read)
    driver = sqlite3.connect(path)

    def fetch():
        return [driver.execute(*statement).fetchall() for statement in statements]

    trend = read()
    app = create_app(Settings(f"sqlite:///{path}", secret_key="benchmark", now=lambda: NOW))  # noqa: S106 - signs nothing
    with app.test_request_context("/"):
        g.actor = orchard.supervisor

        def render(found):
            return routes._page(found, "/", own=False)

        times = take_turns(
            {
                "page": lambda: render(read()),
                "driver and render": lambda: (fetch(), render(trend)),
                "read": read,
                "driver": fetch,
            },
            rounds=15,
        )
    driver.close()
    due = sum(stage.reading.due for stage in trend.stages)
    what = f"Worker's page, {due:,} due trees"
    yield at_most(
        f"{what}: sqlite3, and the same page", times["page"], times["driver and render"], 1.5
    )
    yield for_the_record(f"{what}, without the page: sqlite3", times["read"], times["driver"])


def _statements_of(database: Database, read) -> list[tuple[str, tuple]]:
    seen = []

    def note(_connection, _cursor, statement, parameters, *_rest) -> None:
        if not statement.startswith("begin"):
            seen.append((statement, parameters))

    event.listen(database.engine, "before_cursor_execute", note)
    read()
    event.remove(database.engine, "before_cursor_execute", note)
    return seen


def _score(database: Database, orchard: Orchard) -> None:
    with database.write() as connection:
        for worker_id in orchard.worker_ids[:WORKERS]:
            for number in range(1, AUDITS + 1):
                trees = [
                    {
                        stage: wrong(worker_id, STAGE_FAULTS[stage][0])
                        if (number * TREES + order) % 23 == place
                        else right(worker_id)
                        for place, stage in enumerate(Stage)
                    }
                    for order in range(TREES)
                ]
                add_audit(
                    connection,
                    orchard,
                    trees,
                    started_at=day(1 + number // 3, hour=number % 20),
                    row=number % len(orchard.row_ids),
                    auditor_id=(orchard.supervisor.user_id, orchard.owner.user_id)[number % 2],
                )
