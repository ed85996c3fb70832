"""
Speed as ratios, each against a baseline that runs in the same process and at the same moment.

Run by hand with ``python -m tests.benchmarks``; pytest does not collect it. It prints a table with
our time, the baseline's, the ratio of the two and the ratio that is wanted, and ends with status
1 if one is missed. Ratios of a busy machine wander by a tenth or two: run it again before
believing a narrow miss.

- A single plan against the bare recurrence that finds it in plain Python, and against a double
  loop over `scipy.stats`.
- OC and mean sample of plans that may end after every tree, at 101 qualities, against a program
  in C (left out without a C compiler called ``cc``). "First" means a new plan with all caches
  emptied, "again" that the ways to its ends are counted already.
- The app's usual wave plan on first use.
- One worker's page against `sqlite3` fetching the same rows, render included in both.
- Control charts of all workers against six passes of numpy over an array of their size, and of
  one worker against numpy.
- A deck of 500 personalised cards against a file written by hand, and against cards drawn one by
  one; its bytes and its peak memory stand in the same columns, in kB and MB.
- A photo of 12 megapixels made smaller, against libjpeg's share of that and against Pillow's
  `thumbnail()`; a sheet read from its photo, against a tenth of a second.
- The mixed models of a season of 60,000 audits against a minute, a gibibyte, and the bare solution
  of their equations as one sparse matrix (each in a process of its own; a minute in all).
"""

import sys

from tests.benchmarks import (
    cards,
    control_charts,
    mixed_model,
    photos,
    plan_search,
    sequential_curves,
    wave_search,
    worker_page,
)


def main() -> int:
    """Print the table."""
    missed = 0
    sys.stdout.write(f"{'what: baseline':<78}{'ours ms':>10}{'base ms':>10}{'ratio':>9}  wanted\n")
    for benchmark in (
        plan_search,
        sequential_curves,
        wave_search,
        control_charts,
        worker_page,
        cards,
        photos,
        mixed_model,
    ):
        for line in benchmark.lines():
            verdict = "" if line.is_met else "  MISSED"
            missed += not line.is_met
            sys.stdout.write(
                f"{line.what:<78}{1e3 * line.ours_s:>10.3f}{1e3 * line.baseline_s:>10.3f}"
                f"{line.ratio:>9.3g}  {line.wanted}{verdict}\n"
            )
    return min(missed, 1)


if __name__ == "__main__":
    sys.exit(main())
