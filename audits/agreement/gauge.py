"""
Gauge studies: how much of the spread of measures comes from measuring.

Several people measure the same trees several times. What their measures of one tree differ by is
the gauge's: repeatability within a person, reproducibility between persons.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, TypeAlias

from audits.control.constants import d2, d3
from audits.messages import Message, say

Readings: TypeAlias = Sequence[Sequence[Sequence[float | None]]]

# From this p value on, trees and people do not interact, and both errors may be pooled: common
# practice of gauge studies, where it is taken between 0.05 and 0.25.
INTERACTION_P: Final = 0.05

# The root of 2, as the source prints it.
_CATEGORIES_FACTOR: Final = 1.41
_LEAST: Final = 2
# Deviations that should be 0 come out of rounding as less than this share of the largest reading.
_ROUNDING: Final = 1e-14


@dataclass(frozen=True)
class AnovaRow:
    """
    One line of an analysis of variance.

    Parameters
    ----------
    degrees_of_freedom : int
        Degrees of freedom.
    squares : float
        Sum of squares.
    mean_square : float or None
        Their ratio; None without degrees of freedom.
    f : float or None
        F against the interaction, for the interaction against repeatability; None where there is no
        such error or it is 0.
    p : float or None
        Chance of at least this F without any effect, in [0, 1]; None where `f` is.
    """

    degrees_of_freedom: int
    squares: float
    mean_square: float | None
    f: float | None
    p: float | None


@dataclass(frozen=True)
class GaugeAnova:
    """
    Analysis of variance of a gauge study.

    Parameters
    ----------
    trees, people, interaction, repeatability, total : AnovaRow
        Its lines.
    """

    trees: AnovaRow
    people: AnovaRow
    interaction: AnovaRow
    repeatability: AnovaRow
    total: AnovaRow


@dataclass(frozen=True)
class GaugeParts:
    """
    One quantity for each part of the spread.

    Parameters
    ----------
    gauge : float
        All of measuring.
    repeatability : float
        Within one person.
    reproducibility : float
        Between persons, with their interaction with trees.
    people : float
        Between persons alone.
    interaction : float
        Persons who differ on some trees more than on others.
    trees : float
        Between trees.
    total : float
        All together.
    """

    gauge: float
    repeatability: float
    reproducibility: float
    people: float
    interaction: float
    trees: float
    total: float


@dataclass(frozen=True)
class GaugeModel:
    """
    Where the spread of measures comes from, by one model.

    Parameters
    ----------
    variances : GaugeParts
        Components of variance, in the square of the readings' unit; negative estimates are 0.
    contributions : GaugeParts or None
        Shares of the total variance, in [0, 1]; None if nothing varies.
    study_variations : GaugeParts or None
        Shares of the total standard deviation, in [0, 1]; they do not add up. None if nothing
        varies.
    categories_raw : float or None
        How many kinds of trees the gauge can tell apart, unrounded; None for a perfect gauge.
    categories : int or None
        The same as a whole number, at least 1 (symbol ndc).
    """

    variances: GaugeParts
    contributions: GaugeParts | None
    study_variations: GaugeParts | None
    categories_raw: float | None
    categories: int | None


@dataclass(frozen=True)
class GaugeStudy:
    """
    A crossed gauge study by analysis of variance.

    Parameters
    ----------
    trees : int
        Trees with all readings (symbol p).
    people : int
        People who measured (symbol o).
    trials : int
        Readings of each tree by each person (symbol r).
    left_out : int
        Trees left out because a reading is missing.
    anova : GaugeAnova or None
        The analysis; None where `reason` says why not.
    with_interaction : GaugeModel or None
        Components with interaction; None as well with one trial.
    without_interaction : GaugeModel or None
        Components with interaction and repeatability pooled.
    reason : Message or None
        Why there is no figure; None where there is one.
    """

    trees: int
    people: int
    trials: int
    left_out: int
    anova: GaugeAnova | None
    with_interaction: GaugeModel | None
    without_interaction: GaugeModel | None
    reason: Message | None

    @property
    def fitting(self) -> GaugeModel | None:
        """
        Choose the model that the readings ask for.

        Returns
        -------
        GaugeModel or None
            With interaction if its p value is below 0.05, or if it stands out against repeatability
            that is exactly 0; otherwise without.
        """
        if self.anova is None or self.with_interaction is None:
            return self.without_interaction
        row = self.anova.interaction
        if row.p is None:
            return self.with_interaction if row.squares else self.without_interaction
        return self.with_interaction if row.p < INTERACTION_P else self.without_interaction


@dataclass(frozen=True)
class GaugeByRanges:
    """
    A crossed gauge study by averages and ranges, which needs no more than a pocket calculator.

    Parameters
    ----------
    trees, people, trials : int
        Size of the study, as in `GaugeStudy`.
    left_out : int
        Trees left out because a reading is missing.
    mean_range : float or None
        Mean range of one person's readings of one tree; None where `reason` says why, as all that
        follows but the counts.
    range_of_people : float or None
        Range of the people's means.
    range_of_trees : float or None
        Range of the trees' means.
    repeatability : float or None
        Standard deviation within one person (EV).
    reproducibility : float or None
        Standard deviation between persons (AV); 0 where repeatability explains it.
    gauge : float or None
        Both together (GRR).
    tree_variation : float or None
        Standard deviation between trees (PV).
    total : float or None
        All together (TV).
    repeatability_share, reproducibility_share, gauge_share, tree_share : float or None
        Shares of the total, in [0, 1]; they do not add up. None if nothing varies.
    categories : int or None
        How many kinds of trees the gauge can tell apart, at least 1 (symbol ndc); None for a
        perfect gauge.
    reason : Message or None
        Why there is no figure; None where there is one.
    """

    trees: int
    people: int
    trials: int
    left_out: int
    mean_range: float | None = None
    range_of_people: float | None = None
    range_of_trees: float | None = None
    repeatability: float | None = None
    reproducibility: float | None = None
    gauge: float | None = None
    tree_variation: float | None = None
    total: float | None = None
    repeatability_share: float | None = None
    reproducibility_share: float | None = None
    gauge_share: float | None = None
    tree_share: float | None = None
    categories: int | None = None
    reason: Message | None = None


def gauge_rr(readings: Readings) -> GaugeStudy:
    """
    Split the spread of readings into trees, people and repeating, by analysis of variance.

    Parameters
    ----------
    readings : Sequence of Sequence of Sequence of float or None
        For each tree, for each person, their readings: as many of every tree by every person. A
        tree with a missing reading is left out.

    Returns
    -------
    GaugeStudy
        Both models, with and without interaction; no figures but a reason with fewer than two trees
        or people. With one trial only the model without interaction can be told.

    Raises
    ------
    ValueError
        If trees or people differ in their number of readings or a reading is not finite; the
        message names the value.

    References
    ----------
    .. [1] D. C. Montgomery, Introduction to Statistical Quality Control, 6th edition, 8.7.
    .. [2] AIAG, Measurement Systems Analysis, 4th edition, 2010.

    Examples
    --------
    >>> heights = [[[3.0, 3.1], [3.2, 3.1]], [[2.6, 2.6], [2.8, 2.7]], [[3.4, 3.3], [3.4, 3.5]]]
    >>> found = gauge_rr(heights)
    >>> round(found.fitting.study_variations.gauge, 3), found.fitting.categories
    (0.26, 5)
    """
    study = _Study(readings)
    anova = None if study.reason else _anova(study)
    if anova is None:
        return GaugeStudy(*study.size, study.left_out, None, None, None, study.reason)
    return GaugeStudy(
        *study.size,
        study.left_out,
        anova,
        _with_interaction(anova, study) if study.trials >= _LEAST else None,
        _without_interaction(anova, study),
        None,
    )


def gauge_rr_range(
    readings: Readings,
    *,
    k1: float | None = None,
    k2: float | None = None,
    k3: float | None = None,
) -> GaugeByRanges:
    """
    Split the spread of readings into trees, people and repeating, by averages and ranges.

    Parameters
    ----------
    readings : Sequence of Sequence of Sequence of float or None
        For each tree, for each person, their readings: as many of every tree by every person. A
        tree with a missing reading is left out.
    k1 : float or None, optional
        Standard deviation for a mean range of 1; by default 1 / d2 of the number of trials.
    k2, k3 : float or None, optional
        Standard deviations for a single range of 1 between people and between trees; by default
        1 / root of (d2^2 + d3^2) of their numbers.

    Returns
    -------
    GaugeByRanges
        Standard deviations and their shares; no figures but a reason with fewer than two trees,
        people or trials.

    Raises
    ------
    ValueError
        If trees or people differ in their number of readings, a reading is not finite or a constant
        is not above 0; the message names the value.

    References
    ----------
    .. [1] AIAG, Measurement Systems Analysis, 4th edition, 2010, average and range method.
    .. [2] A. J. Duncan, Quality Control and Industrial Statistics, 5th edition, 1986, table D3, on
       the constant of a single range.

    Examples
    --------
    >>> heights = [[[3.0, 3.1], [3.2, 3.1]], [[2.6, 2.6], [2.8, 2.7]], [[3.4, 3.3], [3.4, 3.5]]]
    >>> found = gauge_rr_range(heights)
    >>> round(found.gauge, 3), round(found.tree_variation, 3)
    (0.107, 0.379)
    """
    for name, constant in (("k1", k1), ("k2", k2), ("k3", k3)):
        if constant is not None and not 0 < constant < math.inf:
            raise ValueError(f"{name} must be above 0, not {constant}")
    study = _Study(readings)
    trees, people, trials = study.size
    reason = study.reason
    if reason is None and trials < _LEAST:
        reason = say("It takes two measures of each tree by each person.")
    if reason is not None:
        return GaugeByRanges(trees, people, trials, study.left_out, reason=reason)
    mean_range = math.fsum(max(cell) - min(cell) for row in study.rows for cell in row) / (
        trees * people
    )
    range_of_people = max(study.of_people) - min(study.of_people)
    range_of_trees = max(study.of_trees) - min(study.of_trees)
    repeatability = mean_range * (k1 or 1 / d2(trials))
    between = (range_of_people * (k2 or _single_range(people))) ** 2
    reproducibility = math.sqrt(max(0.0, between - repeatability**2 / (trees * trials)))
    gauge = math.hypot(repeatability, reproducibility)
    tree_variation = range_of_trees * (k3 or _single_range(trees))
    total = math.hypot(gauge, tree_variation)

    def share(part: float) -> float | None:
        return part / total if total else None

    return GaugeByRanges(
        trees,
        people,
        trials,
        study.left_out,
        mean_range,
        range_of_people,
        range_of_trees,
        repeatability,
        reproducibility,
        gauge,
        tree_variation,
        total,
        share(repeatability),
        share(reproducibility),
        share(gauge),
        share(tree_variation),
        _whole(_categories(tree_variation, gauge)),
    )


class _Study:
    """Complete readings of a study, and their means."""

    def __init__(self, readings: Readings) -> None:
        people = len(readings[0]) if len(readings) else 0
        trials = len(readings[0][0]) if people else 0
        rows = []
        for row in readings:
            if len(row) != people:
                raise ValueError(f"readings must have {people} people a tree, not {len(row)}")
            for cell in row:
                _require_readings(cell, trials)
            complete = [[float(each) for each in cell if each is not None] for cell in row]
            if all(len(cell) == trials for cell in complete):
                rows.append(complete)
        self.rows = rows
        self.size = (len(rows), people, trials)
        self.trials = trials
        self.left_out = len(readings) - len(rows)
        self.reason = self._reason()
        if self.reason is None:
            self.of_cells = [[math.fsum(cell) / trials for cell in row] for row in rows]
            self.of_trees = [math.fsum(row) / people for row in self.of_cells]
            columns = zip(*self.of_cells, strict=True)
            self.of_people = [math.fsum(column) / len(rows) for column in columns]
            self.mean = math.fsum(self.of_trees) / len(rows)

    def _reason(self) -> Message | None:
        trees, people, trials = self.size
        if people < _LEAST or not trials:
            return say("It takes two people who measured the same trees.")
        if trees < _LEAST:
            return say("It takes two trees that everybody measured.")
        return None


def _require_readings(cell: Sequence[float | None], trials: int) -> None:
    if len(cell) != trials:
        raise ValueError(f"readings must be {trials} a tree and person, not {len(cell)}")
    for reading in cell:
        if reading is not None and not math.isfinite(reading):
            raise ValueError(f"readings must be finite numbers or None, not {reading}")


def _anova(study: _Study) -> GaugeAnova:
    trees, people, trials = study.size
    mean = study.mean
    every = [each for row in study.rows for cell in row for each in cell]
    least = len(every) * (_ROUNDING * max(map(abs, every))) ** 2

    def squares(scale: int, deviations: list[float]) -> float:
        found = scale * math.fsum(each**2 for each in deviations)
        return found if found > least else 0.0

    of_trees = squares(people * trials, [each - mean for each in study.of_trees])
    of_people = squares(trees * trials, [each - mean for each in study.of_people])
    interaction = squares(
        trials,
        [
            cell - tree - person + mean
            for row, tree in zip(study.of_cells, study.of_trees, strict=True)
            for cell, person in zip(row, study.of_people, strict=True)
        ],
    )
    repeating = squares(
        1,
        [
            each - of_cell
            for row, of_cells in zip(study.rows, study.of_cells, strict=True)
            for cell, of_cell in zip(row, of_cells, strict=True)
            for each in cell
        ],
    )
    total = squares(1, [each - mean for each in every])
    repeatability = _row(trees * people * (trials - 1), repeating, None)
    crossed = _row((trees - 1) * (people - 1), interaction, repeatability)
    return GaugeAnova(
        _row(trees - 1, of_trees, crossed),
        _row(people - 1, of_people, crossed),
        crossed,
        repeatability,
        _row(trees * people * trials - 1, total, None),
    )


def _row(degrees_of_freedom: int, squares: float, error: AnovaRow | None) -> AnovaRow:
    from scipy.special import fdtrc  # noqa: PLC0415 - keeps starting the app light

    mean_square = squares / degrees_of_freedom if degrees_of_freedom else None
    if mean_square is None or error is None or not error.mean_square:
        return AnovaRow(degrees_of_freedom, squares, mean_square, None, None)
    f = mean_square / error.mean_square
    p = float(fdtrc(degrees_of_freedom, error.degrees_of_freedom, f))
    return AnovaRow(degrees_of_freedom, squares, mean_square, f, p)


def _with_interaction(anova: GaugeAnova, study: _Study) -> GaugeModel:
    trees, people, trials = study.size
    crossed = anova.interaction.mean_square or 0.0
    repeatability = anova.repeatability.mean_square or 0.0
    return _model(
        repeatability=repeatability,
        people=((anova.people.mean_square or 0.0) - crossed) / (trees * trials),
        interaction=(crossed - repeatability) / trials,
        trees=((anova.trees.mean_square or 0.0) - crossed) / (people * trials),
    )


def _without_interaction(anova: GaugeAnova, study: _Study) -> GaugeModel:
    trees, people, trials = study.size
    rest = anova.interaction, anova.repeatability
    repeatability = sum(row.squares for row in rest) / sum(row.degrees_of_freedom for row in rest)
    return _model(
        repeatability=repeatability,
        people=((anova.people.mean_square or 0.0) - repeatability) / (trees * trials),
        interaction=0.0,
        trees=((anova.trees.mean_square or 0.0) - repeatability) / (people * trials),
    )


def _model(repeatability: float, people: float, interaction: float, trees: float) -> GaugeModel:
    people, interaction, trees = (max(0.0, each) for each in (people, interaction, trees))
    reproducibility = people + interaction
    gauge = repeatability + reproducibility
    variances = GaugeParts(
        gauge, repeatability, reproducibility, people, interaction, trees, gauge + trees
    )
    raw = _categories(math.sqrt(trees), math.sqrt(gauge))
    if not variances.total:
        return GaugeModel(variances, None, None, raw, _whole(raw))
    shares = [each / variances.total for each in vars(variances).values()]
    return GaugeModel(
        variances,
        GaugeParts(*shares),
        GaugeParts(*map(math.sqrt, shares)),
        raw,
        _whole(raw),
    )


def _categories(trees: float, gauge: float) -> float | None:
    return _CATEGORIES_FACTOR * trees / gauge if gauge else None


def _whole(categories: float | None) -> int | None:
    return None if categories is None else max(1, math.floor(categories))


def _single_range(size: int) -> float:
    """Return the standard deviation for a single range of 1 of some values."""
    return 1 / math.hypot(d2(size), d3(size))
