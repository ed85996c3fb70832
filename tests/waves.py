"""Plans in waves as hypothesis makes them up, and what comes of them counted the long way."""

from fractions import Fraction
from functools import cache

from hypothesis import strategies as st

from audits.sampling import DoublePlan, SinglePlan, WavePlan


@st.composite
def single_plans(draw, largest=30):
    size = draw(st.integers(1, largest))
    number = draw(st.integers(0, size - 1))
    return SinglePlan(size, number, number + draw(st.integers(1, 3)))


@st.composite
def double_plans(draw, largest=30):
    first = draw(st.integers(1, largest - 1))
    second = draw(st.integers(1, largest - first))
    accepted = draw(st.integers(0, first))
    rejected = accepted + draw(st.integers(1, 5))
    last = draw(st.integers(accepted, first + second))
    return DoublePlan(first, accepted, rejected, second, last, last + draw(st.integers(1, 3)))


@st.composite
def wave_plans(draw, largest=30, most_waves=5):
    """Any numbers that a plan may hold, sensible or not."""
    sizes = sorted(draw(st.sets(st.integers(1, largest), min_size=1, max_size=most_waves)))
    accepted = [draw(st.none() | st.integers(0, size)) for size in sizes[:-1]]
    accepted.append(draw(st.integers(0, sizes[-1])))
    rejected = [
        draw(st.none() | st.integers((-1 if number is None else number) + 1, size + 2).filter(bool))
        for size, number in zip(sizes[:-1], accepted, strict=False)
    ]
    rejected.append(accepted[-1] + draw(st.integers(1, 3)))
    return WavePlan(tuple(sizes), tuple(accepted), tuple(rejected))


def any_plans(largest=30):
    return st.one_of(single_plans(largest), double_plans(largest), wave_plans(largest))


def verdict(plan, results):
    """Wait for the end of each wave, then look at its numbers; true for an accepted lot."""
    for wave in plan.waves:
        found = sum(results[: wave.size])
        if found >= wave.rejection_number:
            return False
        if wave.acceptance_number is not None and found <= wave.acceptance_number:
            return True
    raise AssertionError


def is_certain(plan, seen, found):
    """Tell whether a walk that is still open ends the same way whatever comes."""

    def accepted(rest_fails):
        for wave in plan.waves:
            if wave.size > seen:
                count = found + (wave.size - seen) * rest_fails
                if count >= wave.rejection_number:
                    return False
                if wave.acceptance_number is not None and count <= wave.acceptance_number:
                    return True
        raise AssertionError

    return accepted(rest_fails=False) == accepted(rest_fails=True)


def tree_by_tree(plan, nonconforming, lot_size):
    """
    Follow every walk through a lot, one tree at a time, in fractions.

    Returns the chance of acceptance, the mean trees walked to the ends of waves, and the chance
    that a curtailed walk is still open after 0, 1, 2 ... trees.
    """
    ends = {wave.size: wave for wave in plan.waves}
    still_open = [Fraction(0)] * (plan.sample_size + 1)

    @cache
    def accepted_and_trees(seen, found):
        wave = ends.get(seen)
        if wave is not None and found >= wave.rejection_number:
            return Fraction(0), Fraction(0)
        if wave is not None and found <= wave.most_accepted:
            return Fraction(1), Fraction(0)
        share = Fraction(nonconforming - found, lot_size - seen)
        accepted, trees = Fraction(0), Fraction(1)
        for chance, more in ((1 - share, 0), (share, 1)):
            if chance:
                later = accepted_and_trees(seen + 1, found + more)
                accepted += chance * later[0]
                trees += chance * later[1]
        return accepted, trees

    live = {0: Fraction(1)}
    for seen in range(plan.sample_size):
        live = {
            found: chance for found, chance in live.items() if not is_certain(plan, seen, found)
        }
        still_open[seen] = sum(live.values(), Fraction(0))
        walked = {}
        for found, chance in live.items():
            share = Fraction(nonconforming - found, lot_size - seen)
            for part, more in ((1 - share, 0), (share, 1)):
                if part:
                    walked[found + more] = walked.get(found + more, 0) + chance * part
        wave = ends.get(seen + 1)
        live = {
            found: chance
            for found, chance in walked.items()
            if wave is None or wave.most_accepted < found < wave.rejection_number
        }
    return *accepted_and_trees(0, 0), still_open[:-1]
