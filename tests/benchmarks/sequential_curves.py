"""OC and mean sample of plans that may end after every tree, against a program in C."""

import ctypes
import math
import shutil
import subprocess
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path

from audits.sampling import WavePlan, acceptance_probability, average_sample_number, curves, walks
from tests.benchmarks.timing import Line, at_most, for_the_record, take_turns

# For each quality the chances of the counts that go on are carried from tree to tree; those on or
# below the acceptance number leave at one end, those from the rejection number on at the other.
PROGRAM = """
#include <string.h>

void walk(int trees, const int *accept, const int *reject, int qualities, const double *fraction,
          double *passes, double *mean)
{
    double going[1024];
    for (int quality = 0; quality < qualities; quality++) {
        double bad = fraction[quality], good = 1 - bad, accepted = 0, looked_at = 0;
        int low = 0, high = 0;
        memset(going, 0, sizeof going);
        going[0] = 1;
        for (int tree = 0; tree < trees && low <= high; tree++) {
            double open = 0;
            for (int count = low; count <= high; count++) open += going[count];
            looked_at += open;
            going[++high] = 0;
            for (int count = high; count > low; count--)
                going[count] = going[count] * good + going[count - 1] * bad;
            going[low] *= good;
            while (low <= high && low <= accept[tree]) accepted += going[low++];
            if (high >= reject[tree]) high = reject[tree] - 1;
        }
        passes[quality] = accepted;
        mean[quality] = looked_at;
    }
}
"""
FLAGS = {"-O2": ["-O2"], "-O3 -march=native": ["-O3", "-march=native"]}
QUALITIES = [0.002 + 0.398 * step / 100 for step in range(101)]


def truncated_plan(last_tree: int) -> WavePlan:
    """Wald's lines for 5 % against 20 % at risks of 5 % and 10 %, cut off at a last tree."""
    good, bad = 0.05, 0.20
    weight = math.log(bad / good) + math.log((1 - good) / (1 - bad))
    slope = math.log((1 - good) / (1 - bad)) / weight
    below, above = math.log(0.95 / 0.10) / weight, math.log(0.90 / 0.05) / weight
    sizes = range(1, last_tree + 1)
    accepted = [math.floor(slope * size - below) for size in sizes]
    rejected = [math.ceil(slope * size + above) for size in sizes]
    accepted[-1] = math.floor(slope * last_tree)
    rejected[-1] = accepted[-1] + 1
    return WavePlan(
        tuple(sizes), tuple(None if number < 0 else number for number in accepted), tuple(rejected)
    )


def compiled(flags: list[str]) -> Callable[[WavePlan], Callable[[], tuple[list[float], ...]]]:
    """Compile the program, and return what makes a call of it ready for a plan."""
    compiler = shutil.which("cc")
    if compiler is None:
        raise FileNotFoundError
    with tempfile.TemporaryDirectory() as folder:
        source, library = Path(folder, "walk.c"), Path(folder, "walk.so")
        source.write_text(PROGRAM)
        subprocess.run([compiler, *flags, "-shared", "-fPIC", "-o", library, source], check=True)
        walk = ctypes.CDLL(str(library)).walk

    def ready(plan: WavePlan) -> Callable[[], tuple[list[float], ...]]:
        whole, real = ctypes.c_int * len(plan.sizes), ctypes.c_double * len(QUALITIES)
        accepted = whole(*(wave.most_accepted for wave in plan.waves))
        rejected = whole(*(wave.rejection_number for wave in plan.waves))
        fractions, passes, mean = real(*QUALITIES), real(), real()

        def call() -> tuple[list[float], ...]:
            walk(len(plan.sizes), accepted, rejected, len(QUALITIES), fractions, passes, mean)
            return list(passes), list(mean)

        return call

    return ready


def both_figures(plan: WavePlan, *, curtailed: bool) -> tuple[list[float], ...]:
    """Return what the program returns: OC and mean sample at every quality."""
    return (
        acceptance_probability(plan, QUALITIES),
        average_sample_number(plan, QUALITIES, curtailed=curtailed),
    )


def lines() -> Iterator[Line]:
    """Measure samples of up to 300 trees; the first time with nothing kept from before."""
    try:
        programs = {name: compiled(flags) for name, flags in FLAGS.items()}
    except FileNotFoundError:
        return
    for last_tree in (32, 100, 300):
        yield from _lines_of(last_tree, programs)


def _lines_of(
    last_tree: int, programs: dict[str, Callable[[WavePlan], Callable[[], object]]]
) -> Iterator[Line]:
    plan = truncated_plan(last_tree)
    calls = {name: ready(plan) for name, ready in programs.items()}
    for call in calls.values():
        _require_same(call(), both_figures(plan, curtailed=False))
    fresh: list[WavePlan] = []

    def forget() -> None:
        walks._count_once.cache_clear()
        curves._logarithms.cache_clear()
        fresh[:] = [truncated_plan(last_tree)]

    first = take_turns(
        {
            **calls,
            "as the program": lambda: both_figures(fresh[0], curtailed=False),
            "curtailed": lambda: both_figures(fresh[0], curtailed=True),
        },
        rounds=101,
        before_each=forget,
    )
    again = take_turns(
        {**calls, "as the program": lambda: both_figures(plan, curtailed=False)}, rounds=101
    )
    what = f"OC and mean sample, n <= {last_tree}, 101 qualities"
    usual = "-O3 -march=native"
    yield at_most(f"{what}, first: C {usual}", first["as the program"], first[usual], 2)
    yield for_the_record(f"{what}, first: C -O2", first["as the program"], first["-O2"])
    yield for_the_record(f"{what}, again: C {usual}", again["as the program"], again[usual])
    yield for_the_record(f"{what}, curtailed, first: C {usual}", first["curtailed"], first[usual])


def _require_same(theirs: tuple[list[float], ...], ours: tuple[list[float], ...]) -> None:
    for their_curve, our_curve in zip(theirs, ours, strict=True):
        for their_value, our_value in zip(their_curve, our_curve, strict=True):
            if not math.isclose(their_value, our_value, rel_tol=1e-9, abs_tol=1e-12):
                raise AssertionError((their_value, our_value))
