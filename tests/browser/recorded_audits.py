"""What the office says of an audit at each step, recorded for the phone to be held against."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import astuple, dataclass
from itertools import count
from random import Random
from typing import Any
from uuid import uuid4

from flask import Flask, g

from audits.messages import Message
from audits.records import Actor, DeviceRow, Farm
from audits.sampling import MeasuredPlan, StageTally, deciding_wave
from audits.sampling.stored import read_plan
from audits.services.auditing import AuditView, view_audit
from audits.services.preparing import PreparedLot
from audits.services.scorebook import StageStanding
from audits.services.syncing import Batch, sync_items
from audits.storage.database import Database
from audits.storage.queries.audits import audit_by_client_id
from audits.vocabulary import Role
from tests.browser.made_up_audits import (
    NOW,
    PLAN_KINDS,
    Auditor,
    Entry,
    Item,
    MadeUpAudit,
    MadeUpLot,
    made_up_lot,
)
from webapp.auditing.places import tree_place
from webapp.auditing.standing import lot_line, sign_of, stage_lines, tallies
from webapp.field.packages import package
from webapp.field.phrases_counting import PHRASES_COUNTING
from webapp.reading import words

LANGUAGES = ("en", "es")
STEPS_AT_MOST = 140

Recording = dict[str, Any]


def recordings(
    app: Flask, seeds: Iterable[int], kinds: Sequence[str] = PLAN_KINDS
) -> Iterator[Recording]:
    """Return audits made up at random, one for each seed, every other one in Spanish."""
    for seed in seeds:
        chance = Random(seed)  # noqa: S311 - the same audits every time
        gauge = seed if seed % 3 else None
        yield record(app, made_up_lot(chance, kinds), chance, LANGUAGES[seed % 2], gauge)


def record(
    app: Flask, lot: MadeUpLot, chance: Random, language: str, gauge: int | None = None
) -> Recording:
    """Let somebody audit a lot, and note at each step where it stands and what is said of it."""
    audit = MadeUpAudit(lot)
    auditor = Auditor(chance, audit, gauge)
    taken: list[tuple[Item | None, Entry | None]] = [(None, None)]
    views = [audit.view()]
    sealed = [False]
    while len(taken) < STEPS_AT_MOST and not (audit.sealed or audit.given_up):
        item, entry = auditor.next(views[-1])
        if item is not None:
            audit.apply(item)
        taken.append((item, entry))
        views.append(views[-1] if item is None else audit.view())
        sealed.append(audit.sealed)
    expected = [
        {"numbers": numbers_of(view, is_sealed=is_sealed)}
        for view, is_sealed in zip(views, sealed, strict=True)
    ]
    with reading(app, lot, language):
        pkg = package(lot.prepared, lot.farm, NOW)
        for each, view, (_, entry) in zip(expected, views, taken, strict=True):
            each["words"] = words_of(view, lot)
            each["entry"] = entry and entry_of(entry)
    steps = [
        {"item": item, "entry": entry and sent_of(entry), "expected": each}
        for (item, entry), each in zip(taken, expected, strict=True)
    ]
    return {"pkg": pkg, "language": language, "steps": steps}


@contextmanager
def reading(app: Flask, lot: MadeUpLot, language: str) -> Iterator[None]:
    """Be a supervisor of the lot's farm who reads a language."""
    with app.test_request_context():
        g.farm = lot.farm
        g.actor = Actor(1, lot.farm.id, "Saul Brightwater", Role.SUPERVISOR, language, None)
        yield


def numbers_of(view: AuditView, *, is_sealed: bool) -> dict[str, Any]:
    """Return where an audit stands, in numbers."""
    return {
        "walk": [[tree.id, tree.wave] for tree in view.walk],
        "answered": [tree.id for tree in view.tree_of_score.values()],
        "results": _results(view),
        "stages": [_standing(each) for each in view.standings],
        "outcome": view.outcome,
        "all_decided": view.all_decided,
        "next": view.next_tree and view.next_tree.id,
        "last": view.last_scored and view.last_scored.id,
        "given_up": view.given_up,
        "reserve_left": view.reserve_left,
        "sealed": is_sealed,
    }


def _results(view: AuditView) -> list[Any]:
    results: dict[int, dict[str, Any]] = {tree.id: {} for tree in view.tree_of_score.values()}
    for score in view.scores:
        stages = results[view.tree_of_score[score.tree_score_id].id]
        stages[score.stage] = [score.result, list(score.faults)]
    return [[tree_id, stages] for tree_id, stages in results.items()]


def _standing(standing: StageStanding) -> dict[str, Any]:
    measured = standing.measured
    counted = standing.plan.counted if isinstance(standing.plan, MeasuredPlan) else standing.plan
    return {
        "stage": standing.stage,
        "outcome": standing.outcome,
        "tallies": [_tally(tally) for tally in standing.tallies],
        "tally": _tally(standing.tally),
        "due": standing.due,
        "faults": dict(standing.faults),
        "leading": standing.leading_fault,
        "decided_in": measured.decided_in
        if measured
        else deciding_wave(counted, *standing.tallies),
        "most_not_lost": standing.most_not_lost,
        "left": list(standing.trees_left),
    }


def _tally(tally: StageTally) -> list[int]:
    return [tally.scored, tally.nonconforming, tally.not_due]


def words_of(view: AuditView, lot: MadeUpLot) -> dict[str, Any]:
    """Return what the pages say of an audit to whoever reads them."""
    sign = sign_of(view)
    place = view.next_tree and tree_place(view.walk, view.next_tree, lot.rows)
    return {
        "reasons": [line.reason for line in stage_lines(view.standings)],
        "tallies": list(tallies(view.standings).values()),
        "lot": lot_line(view.standings).reason,
        "sign": [sign.state, sign.words, sign.reason],
        "place": place and list(astuple(place)),
    }


def entry_of(entry: Entry) -> dict[str, Any]:
    """Return what the office reads from a tree's form, and says of what it cannot take."""
    problems = {field: _problem(problem) for field, problem in entry.problems.items()}
    return {"skippable": entry.skippable, "answers": entry.answers, "problems": problems}


def _problem(problem: Message) -> str:
    # The phone's sentences for these two name no values.
    own = {
        "The measures say": "problem.disagree",
        "Look at no more than": "problem.too_many_ends",
    }
    for beginning, key in own.items():
        if problem.text.startswith(beginning):
            return words().say(str(PHRASES_COUNTING[key]))
    return words().say(problem)


def sent_of(entry: Entry) -> dict[str, Any]:
    """Return a tree's form as the phone holds it."""
    return {
        "tree": entry.tree,
        "tiles": entry.tiles,
        "measures": entry.measures,
        "gauge": entry.gauge,
    }


@dataclass(frozen=True)
class Office:
    """A farm's database, and a phone that sends to it."""

    app: Flask
    database: Database
    farm: Farm
    supervisor: Actor
    device: DeviceRow

    def record(self, prepared: PreparedLot, chance: Random, language: str) -> Recording:
        """Let somebody audit a drawn lot, sending item by item, and note what comes of it."""
        plans = {row.stage: read_plan(row.plan) for row in prepared.plans}
        lot = MadeUpLot(self.farm, prepared, plans)
        audit = MadeUpAudit(lot)
        auditor = Auditor(chance, audit)
        client_id = str(uuid4())
        steps: list[dict[str, Any]] = []
        with reading(self.app, lot, language):
            pkg = package(prepared, self.farm, NOW)
            while len(steps) < STEPS_AT_MOST and not (audit.sealed or audit.given_up):
                item, entry = auditor.next(audit.view())
                if item is not None:
                    self._send(pkg, client_id, item)
                    audit.apply(item)
                view = self._view(client_id)
                expected = view and {
                    "numbers": numbers_of(view, is_sealed=view.book.audit.sealed_at is not None),
                    "words": words_of(view, lot),
                    "entry": entry and entry_of(entry),
                }
                steps.append(
                    {"item": item, "entry": entry and sent_of(entry), "expected": expected}
                )
        return {"pkg": pkg, "language": language, "steps": steps}

    def _send(self, pkg: Mapping[str, Any], client_id: str, item: Item) -> None:
        sent = item | {
            "schema": 1,
            "id": str(uuid4()),
            "counter": next(_counters),
            "at": "2026-01-20T17:00:00.000Z",
            "audit": client_id,
            "draw": pkg["draw"],
            "standard": pkg["standard"],
        }
        sync_items(self.database, Batch(self.device, NOW, [sent]), NOW)

    def _view(self, client_id: str) -> AuditView | None:
        """Return the audit; there is none before its first item was taken."""
        with self.database.read() as connection:
            known = audit_by_client_id(connection, self.farm.id, client_id)
        return known and view_audit(self.database, self.supervisor, known.id)


_counters = count(1)
