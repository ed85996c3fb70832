"""The search for the app's usual wave plan, on first use."""

from collections.abc import Iterator
from functools import partial

from audits.sampling import design_single, design_waves, stage_producer_risk, wave_design
from tests.benchmarks.timing import Line, at_most, for_the_record, take_turns

# A row of 300 trees and four stages that share a risk of 5 %.
RISKS = (0.05, stage_producer_risk(0.05, 4), 0.25, 0.10)
LONGEST_S = 2.0


def lines() -> Iterator[Line]:
    """Compare with a bound of two seconds, and with the search for a single plan."""
    search = {
        waves: partial(design_waves, *RISKS, lot_size=300, stages=4, most_waves=waves)
        for waves in (2, 3)
    }
    times = take_turns(search, rounds=5, before_each=wave_design._design.cache_clear)
    single = take_turns({1: partial(design_single, *RISKS, lot_size=300)}, rounds=41)[1]
    what = "lot of 300, four stages"
    yield at_most(f"{what}, two waves: two seconds", times[2], LONGEST_S, 1)
    yield for_the_record(f"{what}, two waves: single plan", times[2], single)
    yield for_the_record(f"{what}, three waves: two seconds", times[3], LONGEST_S)
