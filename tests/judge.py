"""
A judge of pruned trees who goes by the written rule alone, with a ruler of its own.

Slow and obvious on purpose: wood is walked in short steps, nothing is shared with the scoring
engine or with the program's own reading of a tree. What lies so near a limit that the steps may
hide it is not judged. The rule is that of the project's design: top in the band, at a side branch,
never below the target; the thickest large limbs out, as many as asked for; branches single, with
their tips; hanging ends cut where they are pencil thick, or left.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from math import ceil, dist

from audits.vocabulary import Fault, HeadingRule, Method, Result, Side, Stage

STEPS = 64
# What the steps may hide: a height, a diameter (kept to a tenth), a length along the wood.
HEIGHT_SLACK_MM = 0.3
DIAMETER_SLACK_MM = 0.12
LENGTH_SLACK_MM = 1.0
# The cut of a top ends at a side branch that leaves at most this far below it.
AT_SIDE_BRANCH_MM = 40.0


class OnTheLine(Exception):  # noqa: N818 - what happened, no error
    """A length lies so near its limit that this judge cannot tell."""


@dataclass(frozen=True)
class Verdict:
    """What became of one stage."""

    result: Result
    faults: frozenset[Fault] = frozenset()


def more(length_mm: float, limit_mm: float, slack_mm: float) -> bool:
    """Tell whether a length is beyond its limit."""
    if abs(length_mm - limit_mm) < slack_mm:
        raise OnTheLine
    return length_mm > limit_mm


def point(wood, along: float):
    """Find a point of a piece of wood by drawing its curve as on paper: between points between."""
    points = [wood.start, wood.control1, wood.control2, wood.end]
    while len(points) > 1:
        points = [
            tuple(a + along * (b - a) for a, b in zip(one, other, strict=True))
            for one, other in pairwise(points)
        ]
    return points[0]


def walk(wood, last: float = 1.0) -> Iterator[tuple[float, tuple[float, float, float]]]:
    """Walk along a piece of wood in short steps."""
    for step in range(STEPS + 1):
        along = last * step / STEPS
        yield along, point(wood, along)


def thickness(wood, along: float) -> float:
    """Measure how thick wood is: it thins evenly."""
    return (1 - along) * wood.thick_mm + along * wood.thin_mm


def length(wood) -> float:
    places = [place for _, place in walk(wood)]
    return sum(dist(one, other) for one, other in pairwise(places))


def caliper(limb, out_mm: float) -> float:
    """Measure a limb so far out from the trunk, along its bark."""
    gone = 0.0
    for (one, here), (other, there) in pairwise(walk(limb.wood)):
        step = dist(here, there)
        if gone + step >= out_mm:
            return thickness(limb.wood, one + (other - one) * (out_mm - gone) / step)
        gone += step
    return limb.wood.thin_mm


class Judge:
    """One tree, what was cut on it, and the rule it is held against."""

    def __init__(self, tree, cuts, standard, side: Side, method: Method) -> None:
        self.tree, self.cuts, self.standard = tree, cuts, standard
        self.side, self.method = side, method
        self.below_top = [
            limb for limb in tree.limbs if cuts.top_mm is None or limb.wood.start[2] <= cuts.top_mm
        ]
        self.standing = [limb for limb in self.below_top if limb.key not in cuts.limbs_out]
        self.seen = [limb for limb in self.standing if self.is_seen(limb)]

    def verdicts(self) -> dict[Stage, Verdict | None]:
        """Judge every stage in use; None where a length is on the line."""
        rules: dict[Stage, Callable[[], Verdict]] = {
            Stage.TOP: self.top,
            Stage.LIMBS: self.limbs,
            Stage.COLUMNS: self.columns,
            Stage.HEADING: self.heading,
        }
        found: dict[Stage, Verdict | None] = {}
        for stage in self.standard.stages_in_use:
            try:
                found[stage] = rules[stage]()
            except OnTheLine:
                found[stage] = None
        return found

    def is_seen(self, limb) -> bool:
        """Someone on the row's right side sees the limbs that grow there."""
        if self.side is Side.BOTH:
            return True
        return (limb.wood.end[1] > 0) == (self.side is Side.RIGHT)

    def cut_at(self, limb) -> float | None:
        return self.cuts.headed.get(limb.key)

    def sides_left(self, limb):
        cut = self.cut_at(limb)
        for side in limb.side_branches:
            if side.key not in self.cuts.sides_off and (cut is None or side.along <= cut):
                yield side

    def highest_mm(self, *, uncut: bool = False) -> float:
        """Find the highest wood by walking along all that reaches so high."""
        top_mm = None if uncut else self.cuts.top_mm
        tip_mm = self.tree.leader.end[2]
        highest = tip_mm if top_mm is None else min(top_mm, tip_mm)
        for wood, last in self.all_limb_wood(uncut=uncut):
            # A curve stays among the four points that draw it.
            if max(wood.start[2], wood.control1[2], wood.control2[2], wood.end[2]) > highest:
                highest = max(highest, *(place[2] for _, place in walk(wood, last)))
        return highest

    def all_limb_wood(self, *, uncut: bool):
        """List all wood but the leader, and how far along it is still there."""
        for limb in self.tree.limbs if uncut else self.standing:
            cut = None if uncut else self.cut_at(limb)
            for place, wood in enumerate(
                [limb.wood] if limb.end is None else [limb.wood, limb.end]
            ):
                yield wood, 1.0 if cut is None else min(1.0, max(0.0, cut - place))
            for side in limb.side_branches if uncut else self.sides_left(limb):
                yield side.wood, 1.0

    def top(self) -> Verdict:
        rule = self.standard.top
        height = self.highest_mm()
        is_cut = self.cuts.top_mm is not None
        if not is_cut and not more(height, rule.target_mm, HEIGHT_SLACK_MM):
            return Verdict(Result.NOT_DUE)
        faults = set()
        if more(height, rule.target_mm + rule.tolerance_mm, HEIGHT_SLACK_MM):
            faults.add(Fault.HIGH)
        if not more(height, rule.target_mm - rule.tolerance_mm, HEIGHT_SLACK_MM):
            faults.add(Fault.LOW)
        if is_cut and rule.to_side_branch and self.method is not Method.MACHINE_TOPPED:
            unions = [limb.wood.start[2] for limb in self.standing]
            if not unions or more(
                self.cuts.top_mm - max(unions), AT_SIDE_BRANCH_MM, HEIGHT_SLACK_MM
            ):
                faults.add(Fault.BLUNT)
        if is_cut and not more(self.highest_mm(uncut=True), rule.target_mm, HEIGHT_SLACK_MM):
            faults.add(Fault.LEADER_YOUNG)
        return _told(faults)

    def limbs(self) -> Verdict:
        rule, guard = self.standard.limbs, self.standard.diameter_guard_mm
        out = [
            caliper(limb, rule.measured_out_mm)
            for limb in self.below_top
            if limb.key in self.cuts.limbs_out
        ]
        left = [caliper(limb, rule.measured_out_mm) for limb in self.standing]
        surely = [d for d in out if more(d, rule.large_mm + guard, DIAMETER_SLACK_MM)]
        perhaps = [d for d in out if more(d, rule.large_mm - guard, DIAMETER_SLACK_MM)]
        faults = set()
        large_stands = any(more(d, rule.large_mm + guard, DIAMETER_SLACK_MM) for d in left)
        if large_stands and len(perhaps) < rule.least:
            faults.add(Fault.TOO_FEW)
        if len(surely) > rule.most:
            faults.add(Fault.TOO_MANY)
        if perhaps and left:
            thicker = max(left) - min(perhaps)
            if more(thicker, rule.wrong_limb_mm, 2 * DIAMETER_SLACK_MM):
                faults.add(Fault.WRONG_LIMB)
        return _told(faults)

    def is_due(self, limb) -> bool:
        """An end is due that hangs, is thinner than a pencil, and is one further in."""
        rule = self.standard.heading
        if limb.end is None or limb.wood.thin_mm >= rule.thinnest_mm:
            return False
        return 2 * limb.wood.thick_mm > rule.thinnest_mm + rule.thickest_mm

    def columns(self) -> Verdict:
        rule = self.standard.columns
        looked_at = spread(self.seen, rule.branches)
        if not looked_at:
            return Verdict(Result.NOT_DUE)
        wrong = [faults for limb in looked_at if (faults := set(self.column_faults(limb)))]
        needed = ceil(Fraction(len(looked_at) * rule.least_single, rule.branches))
        if len(looked_at) - len(wrong) >= needed:
            return Verdict(Result.CONFORMING)
        return _told(set().union(*wrong))

    def column_faults(self, limb) -> Iterator[Fault]:
        columns, heading = self.standard.columns, self.standard.heading
        for side in self.sides_left(limb):
            is_long = more(length(side.wood), columns.side_branch_mm, LENGTH_SLACK_MM)
            if is_long or side.wood.thick_mm > heading.thickest_mm:
                yield {"fork": Fault.FORK, "upright": Fault.UPRIGHT, "side": Fault.SIDE_BRANCH}[
                    side.kind
                ]
        if self.cut_at(limb) is not None and not self.is_due(limb):
            yield Fault.TIP_SHORTENED

    def heading(self) -> Verdict:
        rule, guard = self.standard.heading, self.standard.diameter_guard_mm
        if rule.rule is HeadingRule.FORBIDDEN:
            is_headed = any(self.cut_at(limb) is not None for limb in self.seen)
            return _told({Fault.FORBIDDEN} if is_headed else set())
        due = spread([limb for limb in self.seen if self.is_due(limb)], rule.looked_at)
        if not due:
            return Verdict(Result.NOT_DUE)
        wrong = []
        for limb in due:
            cut = self.cut_at(limb)
            if cut is None:
                wrong.append(Fault.LEFT_LONG)
                continue
            is_beyond = cut > 1 and limb.end is not None
            behind = (
                thickness(limb.end, cut - 1) if is_beyond else thickness(limb.wood, min(1.0, cut))
            )
            if more(behind, rule.thickest_mm + guard, DIAMETER_SLACK_MM):
                wrong.append(Fault.THICK)
            elif not more(behind, rule.thinnest_mm - guard, DIAMETER_SLACK_MM):
                wrong.append(Fault.THIN)
        allowed = rule.most_wrong if len(due) >= rule.few else 0
        return _told(set(wrong)) if len(wrong) > allowed else Verdict(Result.CONFORMING)


def spread(limbs, count: int):
    """Take the middle limb of each of so many equal runs, from the lowest up."""
    if len(limbs) <= count:
        return limbs
    return [limbs[(2 * run + 1) * len(limbs) // (2 * count)] for run in range(count)]


def _told(faults: set[Fault]) -> Verdict:
    result = Result.NONCONFORMING if faults else Result.CONFORMING
    return Verdict(result, frozenset(faults))
