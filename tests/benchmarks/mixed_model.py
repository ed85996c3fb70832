"""
The mixed models at the size of the largest farm: a season of 60,000 audits on one core.

Each runs in a process of its own with one thread, so that its memory is its own; the peak counts
Python, numpy, scipy and the audits themselves. The baseline is what every step of such a fit comes
down to: the equations of one step, solved a hundred times as one sparse matrix by scipy's SuperLU.
"""

import json
import os
import resource
import subprocess
import sys
import time
from collections.abc import Iterator

import numpy as np
import scipy.sparse
import scipy.sparse.linalg

from audits.comparison.mixed_binomial import fit_binomial_mixed
from audits.comparison.mixed_linear import fit_linear_mixed
from tests.benchmarks.timing import Line, at_most, for_the_record

WORKERS, BLOCKS, AUDITORS, AUDITS = 2_000, 300, 20, 60_000
MINUTE_S, GIBIBYTE_MB = 60.0, 1_024.0
SOLUTIONS = 100


def season() -> tuple[np.random.Generator, dict[str, np.ndarray]]:
    """Make up which worker, block and auditor each audit was of; crews stay in some blocks."""
    rng = np.random.default_rng(1)
    worker = rng.integers(0, WORKERS, AUDITS)
    return rng, {
        "worker": worker,
        "block": (worker // 7 + rng.integers(0, 40, AUDITS)) % BLOCKS,
        "auditor": rng.integers(0, AUDITORS, AUDITS),
    }


def fit_faults() -> bool:
    """Fit faults on 4 to 24 due trees an audit."""
    rng, factors = season()
    logits = -2.2 + sum(
        rng.normal(0, spread, size)[factors[name]]
        for name, spread, size in (
            ("worker", 0.5, WORKERS),
            ("block", 0.6, BLOCKS),
            ("auditor", 0.3, AUDITORS),
        )
    )
    due = rng.integers(4, 25, AUDITS)
    found = rng.binomial(due, 1 / (1 + np.exp(-logits)))
    fit = fit_binomial_mixed(found.tolist(), due.tolist(), as_lists(factors))
    return fit.converged


def fit_heights() -> bool:
    """Fit one height an audit."""
    rng, factors = season()
    heights_mm = rng.normal(3_000, 90, AUDITS) + sum(
        rng.normal(0, spread, size)[factors[name]]
        for name, spread, size in (
            ("worker", 50, WORKERS),
            ("block", 60, BLOCKS),
            ("auditor", 30, AUDITORS),
        )
    )
    return fit_linear_mixed(heights_mm.tolist(), as_lists(factors)).converged


def solve_sparse() -> bool:
    """Set up and solve the equations of one step as one sparse matrix, again and again."""
    rng, factors = season()
    starts = {"worker": 0, "block": WORKERS, "auditor": WORKERS + BLOCKS}
    columns = np.concatenate([start + factors[name] for name, start in starts.items()])
    rows = np.tile(np.arange(AUDITS), len(starts))
    size = WORKERS + BLOCKS + AUDITORS
    design = scipy.sparse.csr_matrix((np.ones(len(rows)), (rows, columns)), (AUDITS, size))
    for _ in range(SOLUTIONS):
        weights = scipy.sparse.diags(rng.uniform(0.5, 2.0, AUDITS))
        equations = (design.T @ weights @ design + scipy.sparse.identity(size)).tocsc()
        solution = scipy.sparse.linalg.splu(equations).solve(np.ones(size))
    return bool(np.isfinite(solution).all())


WAYS = {"faults": fit_faults, "heights": fit_heights, "sparse": solve_sparse}


def as_lists(factors: dict[str, np.ndarray]) -> dict[str, list[int]]:
    return {name: codes.tolist() for name, codes in factors.items()}


def measured(way: str) -> tuple[float, float]:
    """Return seconds and the peak in MiB of one way in a process of its own, on one thread."""
    one_thread = {f"{name}_NUM_THREADS": "1" for name in ("OPENBLAS", "OMP", "MKL")}
    answer = subprocess.run(
        [sys.executable, "-m", "tests.benchmarks.mixed_model", way],
        env=os.environ | one_thread,
        check=True,
        capture_output=True,
        text=True,
    )
    found = json.loads(answer.stdout)
    return found["seconds"], found["peak_mb"]


def lines() -> Iterator[Line]:
    """Compare both models with a minute, a gibibyte and the bare solutions."""
    baseline_s, _ = measured("sparse")
    for way in ("faults", "heights"):
        seconds, peak_mb = measured(way)
        yield at_most(f"mixed model of {way}, 60,000 audits: a minute", seconds, MINUTE_S, 1)
        # The table prints thousandths, so that these two columns are MiB.
        yield at_most("  its peak in MiB: a gibibyte", peak_mb / 1_000, GIBIBYTE_MB / 1_000, 1)
        yield for_the_record(f"  its time: {SOLUTIONS} sparse solutions", seconds, baseline_s)


def main() -> None:
    """Run one way and say what it took."""
    start = time.perf_counter()
    if not WAYS[sys.argv[1]]():
        raise AssertionError(sys.argv[1])
    seconds = time.perf_counter() - start
    # Linux counts in KiB.
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1_024
    sys.stdout.write(json.dumps({"seconds": seconds, "peak_mb": peak_mb}))


if __name__ == "__main__":
    main()
