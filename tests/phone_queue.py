"""The queue of an enrolled phone as the services meet it, and all that can come of it."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from itertools import count
from random import Random
from typing import Any
from uuid import UUID

import sqlalchemy as sa

from audits.records import Actor, DeviceRow, DrawTree
from audits.services import preparing
from audits.services.standards import standard_digest
from audits.services.syncing import Batch, ItemReceipt, sync_items
from audits.storage import tables
from audits.storage.database import Database
from audits.storage.queries import audits as queries
from audits.storage.queries import devices as device_queries
from audits.storage.queries import standards as standard_queries
from audits.storage.queries.fetch import insert
from audits.vocabulary import Fault, PlantingKind, Stage
from tests.orchard import Orchard
from tests.row_audit import AUDITED, Answers, fault, right

Item = dict[str, Any]


@dataclass(frozen=True)
class Package:
    """What a phone has with it of one lot."""

    draw: int
    standard: dict[str, Any]
    walk: Sequence[DrawTree]
    reserve: Sequence[DrawTree]


def prepare(database: Database, orchard: Orchard, lot_id: int, *, seed: int = 1) -> Package:
    """Draw a lot's trees, as a phone does in the office."""
    found = preparing.prepare_lots(
        database, orchard.supervisor, [lot_id], new_seed=lambda: seed, now=AUDITED
    ).prepared[0]
    return package_of(database, orchard, found.draw.id)


def package_of(database: Database, orchard: Orchard, draw_id: int) -> Package:
    """Return what a phone has with it of a draw."""
    with database.read() as connection:
        trees = queries.draw_trees(connection, orchard.farm_id, draw_id)
        version = standard_queries.standard_by_id(connection, orchard.farm_id, orchard.standard_id)
    return Package(
        draw=draw_id,
        standard={"version": version.version, "digest": standard_digest(version)},
        walk=[tree for tree in trees if tree.walk_order is not None],
        reserve=[tree for tree in trees if tree.walk_order is None],
    )


@dataclass
class QueuePhone:
    """An enrolled phone that keeps every item it makes; its ids follow from its name."""

    device: DeviceRow
    clock_ahead: timedelta = timedelta(0)
    items: list[Item] = field(default_factory=list)

    def __post_init__(self) -> None:
        self._random = Random(self.device.uid)  # noqa: S311 - repeatable, not secret
        self._counter = count(1)
        self.now = AUDITED + timedelta(hours=1)

    def new_id(self) -> str:
        return str(UUID(int=self._random.getrandbits(128), version=4))

    def clock(self) -> str:
        return (self.now + self.clock_ahead).isoformat(timespec="milliseconds")

    def make(self, package: Package, audit: str, kind: str, body: object, **other: object) -> Item:
        """Make the next item, half a minute after the one before."""
        self.now += timedelta(seconds=30)
        item = {
            "schema": 1,
            "id": self.new_id(),
            "counter": next(self._counter),
            "at": self.clock(),
            "kind": kind,
            "audit": audit,
            "draw": package.draw,
            "standard": package.standard,
            "body": body,
        } | other
        self.items.append(item)
        return item

    def tree(
        self, package: Package, audit: str, tree_id: int, answers: Answers | None = None, **other
    ) -> Item:
        answers = {"missed": None} | (right() if answers is None else answers)
        body = {"tree": tree_id, "answers": answers}
        return self.make(package, audit, "tree", body, **other)

    def take_back(self, package: Package, audit: str, tree_id: int) -> Item:
        return self.make(package, audit, "take_back", {"tree": tree_id})

    def not_a_tree(
        self,
        package: Package,
        audit: str,
        tree_id: int,
        instead: int | None,
        kind: PlantingKind = PlantingKind.DEAD,
    ) -> Item:
        body = {"tree": tree_id, "kind": kind, "instead": instead}
        return self.make(package, audit, "not_a_tree", body)

    def seal(self, package: Package, audit: str, **outcomes: str) -> Item:
        return self.make(package, audit, "seal", {"outcomes": outcomes})

    def send(
        self,
        database: Database,
        items: Iterable[object] | None = None,
        now: datetime | None = None,
        **other: object,
    ) -> list[ItemReceipt]:
        """Send items, by default all of them."""
        sent = self.items if items is None else list(items)
        clock = datetime.fromisoformat(self.clock())
        batch = Batch(device=self.device, sent_at=clock, items=sent)
        if other:
            batch = Batch(**({"device": self.device, "sent_at": clock, "items": sent} | other))
        return sync_items(database, batch, now or self.now)


def enrol(
    database: Database, orchard: Orchard, name: str, *, actor: Actor | None = None
) -> QueuePhone:
    """Enrol a phone for a person, by default the supervisor."""
    person = actor or orchard.supervisor
    with database.write() as connection:
        device_id = insert(
            connection,
            tables.device,
            {
                "farm_id": person.farm_id,
                "uid": str(UUID(int=Random(name).getrandbits(128), version=4)),  # noqa: S311
                "name": name,
                "user_account_id": person.user_id,
                "public_key": {},
                "pin_hash": "",
                "enrolled_at": AUDITED,
                "enrolled_by": person.user_id,
            },
        )
        device = device_queries.device_by_id(connection, person.farm_id, device_id)
    assert device is not None
    return QueuePhone(device)


def audit_of_lot(phone: QueuePhone, package: Package, audit: str) -> None:
    """Make the items of a whole audit: a correction, an undone tree, a replaced one, the seal."""
    walked = list(package.walk[:18])
    phone.tree(package, audit, walked[0].id, right(top=fault(Fault.HIGH)))
    phone.tree(package, audit, walked[0].id)
    phone.tree(package, audit, walked[1].id)
    phone.take_back(package, audit, walked[1].id)
    phone.not_a_tree(package, audit, walked[2].id, package.reserve[0].id)
    walked[2] = package.reserve[0]
    for tree in walked[1:]:
        phone.tree(package, audit, tree.id)
    phone.seal(package, audit, **dict.fromkeys(Stage, "accepted"))


# What belongs to the order of arrival alone: when a row was written, and its number.
_NO_STATE = {"id", "recorded_at", "received_at", "decided_at", "sealed_at", "closed_at"}
# Rows of these are told apart by what they belong to, not by their own numbers.
_NAMES = {
    "audit_id": (tables.audit, "client_id"),
    "tree_score_id": (tables.tree_score, "client_id"),
    "rework_order_id": (tables.rework_order, "lot_id"),
}
_STATE_TABLES = (
    tables.audit,
    tables.tree_score,
    tables.stage_score,
    tables.replacement,
    tables.decision,
    tables.rollup,
    tables.lot,
    tables.draw_tree,
    tables.planting,
    tables.receipt,
    tables.rework_order,
    tables.rework_item,
)


def state_of(database: Database, *, without: Iterable[str] = ()) -> dict[str, list[str]]:
    """Return everything that syncing may change, in a form that knows no row numbers."""
    left_out = _NO_STATE | set(without)
    with database.read() as connection:
        names = {
            column: {
                row.id: row[1] for row in connection.execute(sa.select(table.c.id, table.c[name]))
            }
            for column, (table, name) in _NAMES.items()
        }
        return {
            table.name: sorted(
                repr(
                    {
                        key: names[key].get(value) if key in names else value
                        for key, value in row.items()
                        if key not in left_out
                    }
                )
                for row in connection.execute(sa.select(table)).mappings()
            )
            for table in _STATE_TABLES
            if table.name not in left_out
        }


def batches(items: Sequence[Item], size: int) -> list[list[Item]]:
    """Cut a queue into batches."""
    return [list(items[at : at + size]) for at in range(0, len(items), size)]
