"""Print batches for tests: cards of the invented farm's block, checked or not."""

from datetime import datetime
from typing import Any

from audits.records import PrintBatch
from audits.services import printing
from audits.services.printing import BatchOrder
from audits.storage.database import Database
from audits.vocabulary import BatchKind, CheckOccasion
from tests.orchard import Orchard


def order_of(orchard: Orchard, **changed: Any) -> BatchOrder:
    """Order six pocket cards of the block; `changed` replaces some of it."""
    values: dict[str, Any] = {
        "kind": BatchKind.CARDS,
        "block_id": orchard.block_id,
        "standard_version_id": orchard.standard_id,
        "printer_id": None,
        "choices": {},
        "copies": 6,
    }
    return BatchOrder(**values | changed)


def checked_batch(
    database: Database, orchard: Orchard, now: datetime, *, card_fits: bool = True, **changed: Any
) -> PrintBatch:
    """Print a batch and check it with a bank card."""
    made = printing.make_batch(database, orchard.supervisor, order_of(orchard, **changed), now)
    printing.note_check(
        database,
        orchard.supervisor,
        made.number,
        occasion=CheckOccasion.PRINTED,
        card_fits=card_fits,
        now=now,
    )
    return made
