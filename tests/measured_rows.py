"""Rows whose tops are measured and decided by mean and spread, for tests."""

from collections.abc import Callable
from datetime import date, datetime
from statistics import NormalDist

from audits.services import standards
from audits.standard import Promise
from audits.storage.database import Database
from audits.storage.queries.standards import versions_of_block
from audits.vocabulary import Stage
from tests.orchard import Orchard
from tests.row_audit import Answers, right

# Trees measured in a row of 310, all four stages in use, at the promises of the usual standard.
MEASURED = 24

# 9.9 ft, and 15 cm either way.
TARGET_MM = 3_017.52
TOLERANCE_MM = 150.0


def measure_tops(
    database: Database, orchard: Orchard, *, now: datetime, promise: Promise | None = None
) -> None:
    """Write the standard anew: tops are measured, and decided by their mean."""
    with database.read() as connection:
        last = versions_of_block(connection, orchard.farm_id, orchard.block_id)[0]
    payload = standards.standard_of(last).model_dump(mode="json")
    payload["top"] |= {"measured": True, "by_mean": True}
    if promise is not None:
        payload["top"]["promise"] = promise.model_dump(mode="json")
    standards.write_standard(
        database,
        orchard.supervisor,
        orchard.block_id,
        payload=payload,
        in_force_from=date(2026, 1, 1),
        now=now,
    )


def topped(height_mm: float, **more: object) -> Answers:
    """Answer every stage with right, the top by its height."""
    top = {"kind": "top", "height_mm": round(height_mm, 1), **more}
    return right(Stage.TOP, Stage.LIMBS, Stage.COLUMNS, Stage.HEADING, top=top)


def bell_heights(mean_mm: float, spread_mm: float, count: int = MEASURED) -> list[float]:
    """Return heights spread as evenly as the bell curve says."""
    bell = NormalDist(mean_mm, spread_mm)
    return [bell.inv_cdf((rank + 0.5) / count) for rank in range(count)]


def heights_of(heights: list[float], then_mm: float = TARGET_MM) -> Callable[[int], Answers]:
    """Give the first trees of a walk these heights, and the others one more."""
    return lambda number: topped(heights[number - 1] if number <= len(heights) else then_mm)
