"""
Charts of all workers, of one worker and of one block more, each against the least work.

5,000 workers with 60 blocks of 10 to 32 due trees, whose fractions differ as a beta law says. The
least work for all of them is six passes of numpy over one array of that size: limits, average and
two sums cannot take fewer.
"""

from collections.abc import Iterator

import numpy as np

from audits.control.many import charts_of_many
from audits.control.run_lengths import seasons
from audits.control.standardised import NO_BLOCKS, charts_of_one, step
from tests.benchmarks.timing import (
    Line,
    at_least_faster,
    at_most,
    for_the_record,
    take_turns,
)

WORKERS, POINTS, STEPS = 5_000, 60, 1_000


def lines() -> Iterator[Line]:
    """Measure all workers, one worker, one block more, and the design for a season."""
    chance = np.random.default_rng(5)
    due = chance.integers(10, 33, (WORKERS, POINTS))
    bad = chance.binomial(due, chance.beta(2, 30, (WORKERS, 1)))
    fractions = bad / due
    _require_same(bad, due)
    one_bad, one_due = bad[0].tolist(), due[0].tolist()
    times = take_turns(
        {
            "all": lambda: charts_of_many(bad, due),
            "six passes": lambda: [fractions + 1 for _ in range(6)],
        },
        rounds=31,
    )
    what = f"p, EWMA and CUSUM of {WORKERS} workers x {POINTS} blocks: six numpy passes"
    yield at_most(what, times["all"], times["six passes"], 1.5)
    times = take_turns(
        {
            "python": lambda: charts_of_one(one_bad, one_due),
            "numpy": lambda: charts_of_many(bad[:1], due[:1]),
            "steps": lambda: [step(NO_BLOCKS, 1, 20, 0.06) for _ in range(STEPS)],
            "design": lambda: seasons._season_design.__wrapped__(0.05, 0.15, 400, 0.0025),
        },
        rounds=101,
    )
    what = f"the same of one worker in plain Python: numpy with {POINTS} blocks"
    yield at_least_faster(what, times["python"], times["numpy"], 5)
    what = f"one block more for a kept state: one worker's {POINTS} blocks"
    yield for_the_record(what, times["steps"] / STEPS, times["python"])
    what = "CUSUM of single trees designed for 400: one worker's blocks"
    yield for_the_record(what, times["design"], times["python"])


def _require_same(bad: "np.ndarray", due: "np.ndarray") -> None:
    together = charts_of_many(bad, due)
    for worker in range(0, WORKERS, 100):
        alone = charts_of_one(bad[worker].tolist(), due[worker].tolist())
        if not np.allclose([point.ewma for point in alone], together.ewma[worker]):
            raise AssertionError(worker)
        if [point.signal for point in alone] != together.signal[worker].tolist():
            raise AssertionError(worker)
