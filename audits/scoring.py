"""The scoring engine: what the auditor saw on a tree, turned into results, faults and points."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from math import ceil
from typing import Annotated, Final, Literal

from pydantic import BaseModel, ConfigDict, Field, TypeAdapter, ValidationError

from audits.errors import InvalidInput
from audits.messages import say
from audits.standard import HeadingStageRule, LimbsRule, Standard, TopRule, asks_for_side_branch
from audits.units import kept_length
from audits.vocabulary import (
    FAULT_NAMES,
    STAGE_FAULTS,
    Fault,
    HeadingRule,
    Method,
    Result,
    Side,
    Stage,
)

FULL_POINTS: Final = 100.0

# The fields of measures that hold diameters.
DIAMETER_LISTS: Final = ("cut_mm", "standing_mm", "diameters_mm")

# The field of a tree's answers that names a gauge, under which problems with it are told.
GAUGE: Final = "gauge"

# Tops and limbs are judged on the whole tree, columns and heading on the drawn side.
WHOLE_TREE_STAGES: Final = frozenset({Stage.TOP, Stage.LIMBS})


class Tap(StrEnum):
    """The one tap that answers a stage."""

    RIGHT = "right"
    NOTHING_DUE = "nothing_due"
    FEWER_NONE_LEFT = "fewer_none_left"
    FAULT = "fault"


class Missed(StrEnum):
    """What the crew walked past."""

    TREE = "tree"
    SIDE = "side"


class _Answer(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class ClassAnswer(_Answer):
    """
    A stage answered by looking.

    Parameters
    ----------
    tap : Tap
        What was tapped.
    faults : tuple of Fault
        The named faults; only with `Tap.FAULT`.
    removed : int or None
        Large limbs taken out, where a limb tile was tapped.
    """

    kind: Literal["class"] = "class"
    tap: Tap
    faults: tuple[Fault, ...] = ()
    removed: int | None = Field(None, ge=0, le=20)


class TopMeasure(_Answer):
    """
    A measured top.

    Parameters
    ----------
    height_mm : float
        From the soil at the trunk to the highest wood left.
    topped : bool
        Whether the top was cut in this pass.
    to_side_branch : bool
        Whether that cut ends at a side branch.
    leader_young : bool
        Whether a leader was cut that had not reached the target.
    """

    kind: Literal["top"] = "top"
    height_mm: float = Field(gt=0, le=15_000)
    topped: bool = True
    to_side_branch: bool = True
    leader_young: bool = False


class LimbsMeasure(_Answer):
    """
    Measured limbs.

    Parameters
    ----------
    cut_mm : tuple of float
        Diameters of this pass's fresh trunk cuts (grey wounds, and limbs out for disease or
        breakage, are left out).
    standing_mm : tuple of float
        Diameters of the thickest limbs still standing.
    faults : tuple of Fault
        Faults of the cuts themselves: flush, low stub, long stub, torn bark.
    """

    kind: Literal["limbs"] = "limbs"
    cut_mm: tuple[Annotated[float, Field(gt=0, le=200)], ...] = ()
    standing_mm: tuple[Annotated[float, Field(gt=0, le=200)], ...] = ()
    faults: tuple[Fault, ...] = ()


class ColumnsMeasure(_Answer):
    """
    Counted columns on the drawn side.

    Parameters
    ----------
    looked_at : int
        Branches looked at.
    single : int
        How many of them are single columns.
    faults : tuple of Fault
        The named faults of the others.
    """

    kind: Literal["columns"] = "columns"
    looked_at: int = Field(ge=0, le=12)
    single: int = Field(ge=0, le=12)
    faults: tuple[Fault, ...] = ()


class HeadingMeasure(_Answer):
    """
    Measured heading cuts on the drawn side.

    Parameters
    ----------
    diameters_mm : tuple of float
        Diameters just behind the cut of the due branches that were headed.
    left_long : int
        Due branches that were not headed.
    """

    kind: Literal["heading"] = "heading"
    diameters_mm: tuple[Annotated[float, Field(gt=0, le=100)], ...] = ()
    left_long: int = Field(0, ge=0, le=12)


Measure = TopMeasure | LimbsMeasure | ColumnsMeasure | HeadingMeasure
Answer = Annotated[ClassAnswer | Measure, Field(discriminator="kind")]

_MEASURES: Final = {
    Stage.TOP: TopMeasure,
    Stage.LIMBS: LimbsMeasure,
    Stage.COLUMNS: ColumnsMeasure,
    Stage.HEADING: HeadingMeasure,
}


class TreeAnswers(_Answer):
    """
    Everything the auditor entered for one tree.

    Parameters
    ----------
    missed : Missed or None
        Set when the crew walked past the tree or its drawn side.
    stages : dict of Stage to Answer
        The answers; a stage without one is not scored.
    gauge : int or None
        Number of the print batch whose gauge the diameters were measured with; None for a caliper
        or a gauge of one's own, and where no diameter was measured. No result depends on it.
    """

    missed: Missed | None = None
    stages: dict[Stage, Answer] = Field(default_factory=dict)
    # Left out of what is stored where there is none: answers from before gauges read the same.
    gauge: Annotated[
        int | None, Field(strict=True, ge=1, le=2**31 - 1, exclude_if=lambda gauge: gauge is None)
    ] = None

    @property
    def diameters_mm(self) -> tuple[tuple[float, ...], ...]:
        """Every diameter that was measured: fresh trunk cuts, limbs standing, heading cuts."""
        limbs, heading = self.stages.get(Stage.LIMBS), self.stages.get(Stage.HEADING)
        return (
            limbs.cut_mm if isinstance(limbs, LimbsMeasure) else (),
            limbs.standing_mm if isinstance(limbs, LimbsMeasure) else (),
            heading.diameters_mm if isinstance(heading, HeadingMeasure) else (),
        )

    @property
    def has_diameters(self) -> bool:
        """Whether any diameter was measured."""
        return any(self.diameters_mm)


_TREE_ANSWERS: Final = TypeAdapter(TreeAnswers)


@dataclass(frozen=True)
class StageScore:
    """
    What one stage of one tree came to.

    Parameters
    ----------
    result : Result
        Conforming, nonconforming, not due or not scored.
    faults : tuple of Fault
        The named faults; empty unless nonconforming.
    points : float or None
        Points in [0, 100]; None where nothing was due or scored.
    """

    result: Result
    faults: tuple[Fault, ...] = ()
    points: float | None = None


NOT_SCORED: Final = StageScore(Result.NOT_SCORED)
NOT_DUE: Final = StageScore(Result.NOT_DUE)


@dataclass(frozen=True)
class TreeScore:
    """
    What one tree came to.

    Parameters
    ----------
    stages : Mapping of Stage to StageScore
        One score for each stage asked for.
    points : float or None
        Weighted mean of the points of the stages that were due; None where none was.
    """

    stages: Mapping[Stage, StageScore]
    points: float | None


def read_answers(payload: object) -> TreeAnswers:
    """
    Read a tree's answers from their stored or sent values.

    Parameters
    ----------
    payload : object
        Mapping of the fields of `TreeAnswers`.

    Returns
    -------
    TreeAnswers
        The checked answers.

    Raises
    ------
    InvalidInput
        If a value lies outside its range, or a gauge is named where no diameter was measured;
        names the stage, or the gauge.
    """
    try:
        answers = _TREE_ANSWERS.validate_python(payload)
    except ValidationError as error:
        raise InvalidInput(
            {
                _field_of(problem["loc"]): say(
                    "This answer cannot be read: %(value)s", value=str(problem["input"])[:60]
                )
                for problem in error.errors()
            }
        ) from error
    if answers.gauge is not None and not answers.has_diameters:
        raise InvalidInput({GAUGE: say("A gauge is named, but no diameter was measured.")})
    return answers


def _field_of(location: tuple[int | str, ...]) -> str:
    if location[:1] == (GAUGE,):
        return GAUGE
    return str(location[1] if len(location) > 1 else "stages")


def score_tree(
    standard: Standard,
    answers: TreeAnswers,
    *,
    method: Method,
    stages: tuple[Stage, ...] | None = None,
) -> TreeScore:
    """
    Score one tree by the standard.

    Parameters
    ----------
    standard : Standard
        The version in force when the pass began.
    answers : TreeAnswers
        What the auditor entered.
    method : Method
        How the crew worked; machine-topped rows are not asked for a side branch.
    stages : tuple of Stage or None, optional
        The stages to score; by default those in use.

    Returns
    -------
    TreeScore
        One score for each stage, and the tree's points.

    Raises
    ------
    InvalidInput
        If an answer does not fit its stage; names every stage at fault.

    Notes
    -----
    Points follow the piecewise-linear desirability of [1]_: 100 inside the band, falling to 0 at
    the standard's outer limit. Decisions rest on conforming and nonconforming alone.

    References
    ----------
    .. [1] G. Derringer and R. Suich, Simultaneous optimization of several response variables,
       Journal of Quality Technology 12 (1980) 214-219.
    """
    scores: dict[Stage, StageScore] = {}
    problems = {}
    for stage in standard.stages_in_use if stages is None else stages:
        try:
            scores[stage] = _score_stage(standard, stage, answers, method)
        except InvalidInput as error:
            problems[str(stage)] = error.message
    if problems:
        raise InvalidInput(problems)
    return TreeScore(scores, _weighted_points(standard, scores))


def possible_faults(standard: Standard, stage: Stage, method: Method) -> tuple[Fault, ...]:
    """
    Return the faults that a stage can have under a standard.

    Parameters
    ----------
    standard : Standard
        The version in force when the pass began.
    stage : Stage
        The stage.
    method : Method
        How the crew worked.

    Returns
    -------
    tuple of Fault
        In the order of the vocabulary: without blunt cuts where no side branch is asked for,
        without too few limbs where none must come out, and with heading either forbidden or
        judged by its cuts.
    """
    impossible: set[Fault] = set()
    if not asks_for_side_branch(standard, method):
        impossible.add(Fault.BLUNT)
    if standard.limbs.least == 0:
        impossible.add(Fault.TOO_FEW)
    if standard.heading.rule is HeadingRule.FORBIDDEN:
        impossible |= {Fault.THICK, Fault.THIN, Fault.LEFT_LONG}
    else:
        impossible.add(Fault.FORBIDDEN)
    return tuple(fault for fault in STAGE_FAULTS[stage] if fault not in impossible)


def judged_side(stage: Stage, drawn_side: Side) -> Side:
    """
    Return the side of the tree on which a stage is judged.

    Parameters
    ----------
    stage : Stage
        The stage.
    drawn_side : Side
        The side from which the tree was drawn.

    Returns
    -------
    Side
        Both for tops and limbs, else the drawn side.
    """
    return Side.BOTH if stage in WHOLE_TREE_STAGES else drawn_side


def diameter_fault(standard: Standard, diameter_mm: float) -> Fault | None:
    """
    Return what is wrong with the diameter of one heading cut.

    Parameters
    ----------
    standard : Standard
        The version in force when the pass began.
    diameter_mm : float
        Diameter just behind the cut, in mm.

    Returns
    -------
    Fault or None
        Thick or thin where it lies beyond the band by the guard or more; else None.
    """
    thinnest, thickest = measured_limits(standard, Stage.HEADING)
    if diameter_mm >= thickest:
        return Fault.THICK
    if diameter_mm <= thinnest:
        return Fault.THIN
    return None


def measured_limits(standard: Standard, stage: Stage) -> tuple[float, float]:
    """
    Return the limits of what is measured, those by which single trees fail.

    Parameters
    ----------
    standard : Standard
        The version in force when the pass began.
    stage : Stage
        Top or heading.

    Returns
    -------
    tuple of float
        Lowest and highest right height in mm; for heading the ends of the guard band about the
        diameters, where a cut is wrong already.

    Raises
    ------
    ValueError
        If no single length decides the stage.
    """
    if stage is Stage.TOP:
        return standard.top.band_mm
    if stage is Stage.HEADING:
        rule, guard = standard.heading, standard.diameter_guard_mm
        return kept_length(rule.thinnest_mm - guard), kept_length(rule.thickest_mm + guard)
    raise ValueError(f"no single length decides {stage}")


def measured_value(stage: Stage, answers: TreeAnswers) -> float | None:
    """
    Return the one length that was measured at a stage of a tree.

    Parameters
    ----------
    stage : Stage
        The stage.
    answers : TreeAnswers
        What the auditor entered.

    Returns
    -------
    float or None
        Height, or diameter of the only cut looked at, in mm; None where the stage was missed or
        answered in any other way.
    """
    if _missed_fault(stage, answers.missed) is not None:
        return None
    match answers.stages.get(stage):
        case TopMeasure(height_mm=height_mm):
            return height_mm
        case HeadingMeasure(diameters_mm=(diameter_mm,), left_long=0):
            return diameter_mm
    return None


def measured_lengths(stage: Stage, answers: TreeAnswers) -> tuple[float, ...]:
    """
    Return every length that was measured at a stage of a tree.

    Parameters
    ----------
    stage : Stage
        The stage.
    answers : TreeAnswers
        What the auditor entered.

    Returns
    -------
    tuple of float
        The height, or the diameters of the cuts, in mm; empty where nothing was measured.
    """
    if _missed_fault(stage, answers.missed) is not None:
        return ()
    match answers.stages.get(stage):
        case TopMeasure(height_mm=height_mm):
            return (height_mm,)
        case HeadingMeasure(diameters_mm=diameters_mm):
            return tuple(diameters_mm)
    return ()


def desirability(distance: float, outer: float) -> float:
    """
    Return the share of the points left at a distance beyond the band.

    Parameters
    ----------
    distance : float
        Distance beyond the band, in any unit; zero or less inside it.
    outer : float
        Distance at which nothing is left, in the same unit, above zero.

    Returns
    -------
    float
        A ratio in [0, 1]: 1 inside the band, 0 from the outer limit on.

    Examples
    --------
    >>> desirability(-20, 300), desirability(150, 300), desirability(400, 300)
    (1.0, 0.5, 0.0)
    """
    return min(1.0, max(0.0, 1.0 - distance / outer))


def _score_stage(
    standard: Standard, stage: Stage, answers: TreeAnswers, method: Method
) -> StageScore:
    missed = _missed_fault(stage, answers.missed)
    if missed is not None:
        # Nobody headed a missed tree, which is all that a forbidden heading asks.
        headed = stage is not Stage.HEADING or standard.heading.rule is HeadingRule.REQUIRED
        return _failed([missed]) if headed else _conforming()
    answer = answers.stages.get(stage)
    if answer is None:
        return NOT_SCORED
    if isinstance(answer, ClassAnswer):
        return _score_class(standard, stage, answer, method)
    if not isinstance(answer, _MEASURES[stage]):
        raise InvalidInput({str(stage): say("This measure belongs to another stage.")})
    return _score_measure(standard, answer, method)


def _missed_fault(stage: Stage, missed: Missed | None) -> Fault | None:
    if missed is Missed.TREE:
        return Fault.TREE_MISSED
    if missed is Missed.SIDE and stage not in WHOLE_TREE_STAGES:
        return Fault.SIDE_MISSED
    return None


def _score_measure(standard: Standard, answer: Measure, method: Method) -> StageScore:
    match answer:
        case TopMeasure():
            return _score_top(standard, answer, method)
        case LimbsMeasure():
            return _score_limbs(standard, answer)
        case ColumnsMeasure():
            return _score_columns(standard, answer)
        case HeadingMeasure():
            return _score_heading(standard, answer)


def _score_class(
    standard: Standard, stage: Stage, answer: ClassAnswer, method: Method
) -> StageScore:
    if answer.tap is Tap.FAULT:
        faults = _named_faults(stage, answer.faults, needed=True)
        for fault in faults:
            if fault not in possible_faults(standard, stage, method):
                raise InvalidInput(
                    {str(stage): say("%(fault)s is no fault here.", fault=say(FAULT_NAMES[fault]))}
                )
        return _failed(faults)
    if answer.faults:
        raise InvalidInput({str(stage): say("A stage with a fault cannot be right as well.")})
    if stage is Stage.LIMBS:
        return _score_limb_tile(standard.limbs, answer)
    if answer.tap is Tap.NOTHING_DUE:
        if stage is Stage.HEADING and standard.heading.rule is HeadingRule.FORBIDDEN:
            return _conforming()
        return NOT_DUE
    if answer.tap is Tap.FEWER_NONE_LEFT:
        raise InvalidInput({str(stage): say("This answer is for limbs only.")})
    return _conforming()


def _score_limb_tile(rule: LimbsRule, answer: ClassAnswer) -> StageScore:
    if answer.tap is Tap.NOTHING_DUE:
        raise InvalidInput(
            {str(Stage.LIMBS): say("Say how many limbs came out, or that no large one is left.")}
        )
    if answer.tap is Tap.FEWER_NONE_LEFT or answer.removed is None:
        return _conforming()
    if answer.removed < rule.least:
        return _failed([Fault.TOO_FEW])
    if answer.removed > rule.most:
        return _failed([Fault.TOO_MANY])
    return _conforming()


def _score_top(standard: Standard, answer: TopMeasure, method: Method) -> StageScore:
    rule = standard.top
    lowest, highest = rule.band_mm
    if not answer.topped and answer.height_mm < rule.target_mm:
        return NOT_DUE
    faults = []
    if answer.height_mm > highest:
        faults.append(Fault.HIGH)
    if answer.height_mm < lowest:
        faults.append(Fault.LOW)
    if answer.topped and not answer.to_side_branch and asks_for_side_branch(standard, method):
        faults.append(Fault.BLUNT)
    if answer.topped and answer.leader_young:
        faults.append(Fault.LEADER_YOUNG)
    return _scored(faults, _height_desirability(rule, answer.height_mm), {Fault.HIGH, Fault.LOW})


def _height_desirability(rule: TopRule, height_mm: float) -> float:
    beyond = kept_length(abs(height_mm - rule.target_mm) - rule.tolerance_mm)
    return desirability(beyond, rule.outer_mm - rule.tolerance_mm)


def _score_limbs(standard: Standard, answer: LimbsMeasure) -> StageScore:
    rule, guard = standard.limbs, standard.diameter_guard_mm
    # A cut on the line counts whichever way helps the person who made it.
    large_from, small_to = kept_length(rule.large_mm + guard), kept_length(rule.large_mm - guard)
    surely_large = sum(cut >= large_from for cut in answer.cut_mm)
    removed = [cut for cut in answer.cut_mm if cut > small_to]
    perhaps_large = len(removed)
    large_left = any(limb >= large_from for limb in answer.standing_mm)
    faults = _named_faults(Stage.LIMBS, answer.faults, needed=False)
    too_few = perhaps_large < rule.least and large_left
    if too_few:
        faults.append(Fault.TOO_FEW)
    if surely_large > rule.most:
        faults.append(Fault.TOO_MANY)
    if (
        removed
        and answer.standing_mm
        and kept_length(max(answer.standing_mm) - min(removed)) >= rule.wrong_limb_mm
    ):
        faults.append(Fault.WRONG_LIMB)
    off = max(rule.least - perhaps_large if too_few else 0, surely_large - rule.most, 0)
    return _scored(faults, desirability(off, rule.outer_count), {Fault.TOO_FEW, Fault.TOO_MANY})


def _score_columns(standard: Standard, answer: ColumnsMeasure) -> StageScore:
    rule = standard.columns
    if answer.single > answer.looked_at:
        raise InvalidInput(
            {str(Stage.COLUMNS): say("There cannot be more single columns than branches.")}
        )
    if answer.looked_at == 0:
        return NOT_DUE
    # With fewer branches on the side, the same share must be single.
    needed = ceil(answer.looked_at * rule.least_single / rule.branches)
    if answer.single >= needed:
        # A fault named on a tree that still conforms is worth a word, not a result.
        return _conforming()
    faults = _named_faults(Stage.COLUMNS, answer.faults, needed=True)
    missing = (needed - answer.single) * rule.branches / answer.looked_at
    points = desirability(missing, rule.least_single - rule.outer_single)
    return _scored(faults, points, set(faults))


def _score_heading(standard: Standard, answer: HeadingMeasure) -> StageScore:
    rule = standard.heading
    if rule.rule is HeadingRule.FORBIDDEN:
        return _failed([Fault.FORBIDDEN]) if answer.diameters_mm else _conforming()
    looked_at = len(answer.diameters_mm) + answer.left_long
    if looked_at == 0:
        return NOT_DUE
    if looked_at > rule.looked_at:
        raise InvalidInput(
            {
                str(Stage.HEADING): say(
                    "Look at no more than %(most)s due branches on a tree.", most=rule.looked_at
                )
            }
        )
    wrong = [fault for d in answer.diameters_mm if (fault := diameter_fault(standard, d))]
    wrong += [Fault.LEFT_LONG] * answer.left_long
    allowed = rule.most_wrong if looked_at >= rule.few else 0
    guard = standard.diameter_guard_mm
    points = sum(_diameter_desirability(rule, d, guard) for d in answer.diameters_mm) / looked_at
    if len(wrong) <= allowed:
        return StageScore(Result.CONFORMING, (), FULL_POINTS * points)
    faults = [fault for fault in STAGE_FAULTS[Stage.HEADING] if fault in wrong]
    return _scored(faults, points, set(faults))


def _diameter_desirability(rule: HeadingStageRule, diameter_mm: float, guard_mm: float) -> float:
    beyond = kept_length(max(rule.thinnest_mm - diameter_mm, diameter_mm - rule.thickest_mm))
    # Inside the guard band a diameter is on the line: not yet held against anyone.
    return desirability(beyond if beyond >= guard_mm else 0.0, rule.outer_mm)


def _named_faults(stage: Stage, faults: tuple[Fault, ...], *, needed: bool) -> list[Fault]:
    foreign = [fault for fault in faults if fault not in STAGE_FAULTS[stage]]
    if foreign:
        raise InvalidInput({str(stage): say("This fault belongs to another stage.")})
    if needed and not faults:
        raise InvalidInput({str(stage): say("Name the fault.")})
    return [fault for fault in STAGE_FAULTS[stage] if fault in faults]


def _conforming() -> StageScore:
    return StageScore(Result.CONFORMING, (), FULL_POINTS)


def _failed(faults: list[Fault]) -> StageScore:
    return StageScore(Result.NONCONFORMING, tuple(faults), 0.0)


def _scored(faults: list[Fault], share: float, graded: set[Fault]) -> StageScore:
    """Give graded faults the share of the points that is left, any other fault none."""
    if not faults:
        return StageScore(Result.CONFORMING, (), FULL_POINTS * share)
    ordered = tuple(fault for fault in Fault if fault in faults)
    points = FULL_POINTS * share if graded.issuperset(faults) else 0.0
    return StageScore(Result.NONCONFORMING, ordered, points)


def _weighted_points(standard: Standard, scores: Mapping[Stage, StageScore]) -> float | None:
    due = [
        (standard.rule(stage).weight, score.points)
        for stage, score in scores.items()
        if score.points is not None
    ]
    if not due:
        return None
    return sum(weight * points for weight, points in due) / sum(weight for weight, _ in due)
