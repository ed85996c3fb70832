"""
A phone with rows on it for tests of its screens: a farm, drawn lots, and a hand that taps.

The rows are prepared by the services and put into the phone's store, so that each test begins where
it wants; how a phone comes by them is a test of its own.
"""

import json
import re
import secrets
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

from playwright.sync_api import Locator, expect

from audits.records import Actor
from audits.services import passes, preparing, standards
from audits.storage.database import Database
from audits.storage.queries.farms import farm_by_id
from audits.storage.queries.standards import versions_of_block
from audits.storage.schema import upgrade
from audits.vocabulary import Fault, HeadingRule, Method, PassKind, Stage
from tests.browser.people import Person
from tests.orchard import Orchard, plant_orchard
from webapp.app import create_app
from webapp.config import Settings
from webapp.field.packages import package

# Keys that are pressed twice, as they read before and after the first press.
CREW_IS_THROUGH = ("The crew is through with this row", "Press again: the crew is through")
SIGN_OUT = ("Sign out", "Press again: the rows leave this phone")

# From when a standard is in force, and how it differs from the first.
STANDARDS: dict[str, tuple[date, dict]] = {
    "four stages": (date(2025, 11, 1), {}),
    "three stages": (date(2025, 12, 1), {"heading": {"rule": HeadingRule.OFF}}),
    "four tiles": (date(2026, 1, 1), {"limbs": {"least": 2, "most": 3}}),
    "forbidden": (date(2026, 2, 1), {"heading": {"rule": HeadingRule.FORBIDDEN}}),
    "measured": (date(2026, 3, 1), {"top": {"measured": True}, "heading": {"measured": True}}),
    "skipping": (date(2026, 4, 1), {"skip_decided": True}),
}


@dataclass(frozen=True)
class FieldFarm:
    """A farm with one drawn lot for each standard, and their packages by its name."""

    folder: Path
    orchard: Orchard
    packages: Mapping[str, dict[str, Any]]


def plant_field_farm(folder: Path) -> FieldFarm:
    """Set the farm up, its lots drawn and waiting."""
    url = f"sqlite:///{folder / 'farm.db'}"
    database = Database(url, durable=False)
    upgrade(database)
    planted = datetime(2025, 10, 1, tzinfo=UTC)
    orchard = plant_orchard(database, planted)
    with database.read() as connection:
        first = versions_of_block(connection, orchard.farm_id, orchard.block_id)[0].payload
    lots = {}
    for row_id, (name, (day, changes)) in zip(orchard.row_ids, STANDARDS.items(), strict=True):
        if changes:
            standards.write_standard(
                database,
                orchard.supervisor,
                orchard.block_id,
                payload=_changed(first, changes),
                in_force_from=day,
                now=planted,
            )
        lots[name] = _finish_row(database, orchard, row_id, day + timedelta(days=7))
    now = datetime(2026, 5, 1, tzinfo=UTC)
    prepared = preparing.prepare_lots(
        database, orchard.supervisor, None, new_seed=lambda: secrets.randbits(31), now=now
    ).prepared
    packages = _packages(url, database, orchard.supervisor, prepared, now)
    database.close()
    return FieldFarm(folder, orchard, {name: packages[lot_id] for name, lot_id in lots.items()})


def _changed(first: Mapping[str, Any], changes: Mapping[str, Any]) -> dict[str, Any]:
    merged = {
        key: first[key] | change if isinstance(change, dict) else change
        for key, change in changes.items()
    }
    return {**first, **merged}


def _finish_row(database: Database, orchard: Orchard, row_id: int, day: date) -> int:
    begun = datetime.combine(day, datetime.min.time(), tzinfo=UTC) + timedelta(hours=15)
    pass_id = passes.begin_pass(
        database,
        orchard.supervisor,
        block_id=orchard.block_id,
        crew_id=orchard.crew_id,
        kind=PassKind.DORMANT,
        method=Method.LADDER,
        row_ids=[row_id],
        started_at=begun,
    )
    end = begun + timedelta(hours=2)
    return passes.finish_row(database, orchard.supervisor, pass_id, row_id, end)


def _packages(url, database, actor: Actor, prepared, now) -> dict[int, dict[str, Any]]:
    app = create_app(Settings(url, "field"))
    with database.read() as connection:
        farm = farm_by_id(connection, actor.farm_id)
    with app.test_request_context():
        made = [package(found, farm, now) for found in prepared]
    app.extensions["pruning_audit_database"].close()
    # As a phone gets them: JSON, nothing else.
    return {one["lot"]: one for one in json.loads(json.dumps(made, default=str))}


# --- a hand on the phone -------------------------------------------------------------------------

_STORE = 'const store = await (await import("/static/js/field/store.js")).openStore();'
_UID = "7d8ff0a2-0d2d-4f8c-9a51-52f4f1f3a001"
# What a new tree takes before it takes taps, and a bit.
SETTLED_MS = 420


class FieldHand(Person):
    """Somebody with the phone's page before them."""

    def take_along(self, packages: list[dict[str, Any]]) -> None:
        """Enrol the phone and put rows on it, then open its page."""
        self.page.goto("/field/phrases.json")
        self.run(
            """
            const kind = { name: "ECDSA", namedCurve: "P-256" };
            const pair = await crypto.subtle.generateKey(kind, false, ["sign", "verify"]);
            await store.saveDevice({
              uid: argument.uid,
              person: { id: 1, name: "Saul Brightwater", language: argument.language },
              signKey: pair.privateKey,
              unlockedAt: Date.now(),
            });
            await store.savePackages(argument.packages);
            localStorage.setItem("field.language", argument.language);
            """,
            {"uid": _UID, "language": self.language, "packages": packages},
        )
        self.page.goto("/field/")
        expect(self.heading()).to_have_text(self.say("Lots to audit"))

    def run(self, script: str, argument: object = None) -> Any:
        """Run a script in the page with its `store` at hand."""
        return self.page.evaluate(f"async (argument) => {{ {_STORE} {script} }}", argument)

    def begin(self, package: Mapping[str, Any]) -> str:
        """Open the tree screen of a lot, as its key does; return the audit's id."""
        audit_id = self.run("return store.beginAudit(argument);", package["draw"])
        self.page.evaluate("(id) => { location.hash = `#/audit/${id}`; }", audit_id)
        expect(self.page.locator("form[data-tree].is-live")).to_be_visible()
        self.settle()
        return audit_id

    def settle(self) -> None:
        """Wait until the tree takes taps."""
        # Looked at frame by frame: a tap that is refused is tried again only half a second later.
        self.page.wait_for_function("() => !document.querySelector('.is-settling')")

    def press(self, found: Locator) -> None:
        """Press a key once the screen takes taps."""
        self.settle()
        super().press(found)

    def items(self, audit_id: str, kind: str | None = None) -> list[dict[str, Any]]:
        """Return what the phone keeps of an audit."""
        script = "return (await store.audits()).find(({ id }) => id === argument).items;"
        found = self.run(script, audit_id)
        return [item for item in found if kind in {None, item["kind"]}]

    @property
    def stages_asked(self) -> list[Stage]:
        asked = self.page.locator("[data-stage]:not([data-answered]):has(.tile-row)")
        return [Stage(section.get_attribute("data-stage")) for section in asked.all()]

    @property
    def order(self) -> int:
        """The tree's place in the walk: "Tree 3 of 31"."""
        return int(re.search(r"\d+", self.heading().inner_text()).group())

    def fault(self, stage: Stage) -> Locator:
        return self.tile(stage, "fault")

    def score_tree(self, faults: Mapping[Stage, Fault] | None = None) -> int:
        """Answer the tree on the screen; return the taps it took until the next one came."""
        title = self.heading().inner_text()
        taps = self.answer_by_taps(faults or {})
        expect(self.heading()).not_to_have_text(title)
        if self.page.locator("form[data-tree]").count():
            self.settle()
        return taps

    def score_to_the_end(self, faults: Mapping[Stage, Fault] | None = None) -> int:
        """Answer tree after tree in the same way until the sign says stop."""
        trees = 0
        while self.page.locator("form[data-tree]").count():
            self.score_tree(faults)
            trees += 1
        return trees

    def seal_key(self) -> Locator:
        return self.page.get_by_role("button", name=self.say("Give the verdict"), exact=True)
