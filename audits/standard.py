"""The block's written pruning rule: every criterion of the four stages, checked when written."""

from enum import StrEnum
from typing import Any, Final, Self

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from audits.errors import InvalidInput
from audits.messages import Message, Share, mark, say
from audits.planting import HEIGHT_TO_ROW_SPACING, target_height
from audits.sampling.tables import ACCEPTABLE_QUALITY_LIMITS, InspectionLevel, PlanKind
from audits.units import Length, LengthKind, kept_length
from audits.vocabulary import BearingHabit, HeadingRule, Method, PlanMethod, Stage

# Pencil: about 7 mm (common practice; no published figure).
PENCIL_BAND_MM: Final = (6.0, 9.0)

# Fields that people read as thicknesses of wood rather than as lengths.
_DIAMETERS: Final = frozenset(
    {"large_mm", "wrong_limb_mm", "thinnest_mm", "thickest_mm", "diameter_guard_mm"}
)


class LimbCaller(StrEnum):
    """Who names the limbs that come out when two people face one tree."""

    LEFT = "left"
    RIGHT = "right"
    CREW_LEADER = "crew_leader"


LIMB_CALLER_NAMES: Final = {
    LimbCaller.LEFT: mark("The person on the left side"),
    LimbCaller.RIGHT: mark("The person on the right side"),
    LimbCaller.CREW_LEADER: mark("The crew leader"),
}


class _Frozen(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class Promise(_Frozen):
    """
    What a stage's decision promises about a lot.

    Parameters
    ----------
    acceptable_fraction : float
        Fraction of nonconforming trees with which a lot should still be accepted.
    rejectable_fraction : float
        Fraction of nonconforming trees with which a lot should go back.
    """

    acceptable_fraction: float = Field(0.05, gt=0, lt=1)
    rejectable_fraction: float = Field(0.25, gt=0, lt=1)


class StageRule(_Frozen):
    """
    What every stage's rule has.

    Parameters
    ----------
    in_use : bool
        Whether the stage is pruned and scored at all.
    measured : bool
        Whether the auditor is asked to measure rather than to tap a class.
    weight : float
        Weight of the stage in a tree's points.
    promise : Promise
        The two fractions that the decision is built on.
    """

    in_use: bool = True
    measured: bool = False
    weight: float = Field(1.0, gt=0, le=10)
    promise: Promise = Promise()


class TopRule(StageRule):
    """
    Top the tree at the target height, to a side branch.

    Parameters
    ----------
    target_mm : float
        Height of the highest wood left, from the soil at the trunk.
    tolerance_mm : float
        Distance from the target that is still right, either way.
    outer_mm : float
        Distance from the target at which points reach 0.
    to_side_branch : bool
        Whether the cut must end at a side branch (never asked on machine-topped rows).
    by_mean : bool
        Whether the stage is decided by mean and spread of the measured heights, where they allow
        it, rather than by counting trees.
    """

    target_mm: float = Field(gt=500, le=10_000)
    tolerance_mm: float = Field(150.0, gt=0, le=1_000)
    outer_mm: float = Field(450.0, gt=0, le=3_000)
    to_side_branch: bool = True
    by_mean: bool = False

    @property
    def band_mm(self) -> tuple[float, float]:
        """Lowest and highest right height."""
        return (
            kept_length(self.target_mm - self.tolerance_mm),
            kept_length(self.target_mm + self.tolerance_mm),
        )


class LimbsRule(StageRule):
    """
    Take out the largest limbs.

    Parameters
    ----------
    large_mm : float
        Diameter from which a limb is large.
    measured_out_mm : float
        Where the diameter is measured, out from the union.
    least, most : int
        Range of required removals.
    outer_count : int
        Removals beyond the range at which points reach 0.
    wrong_limb_mm : float
        A limb still standing is the wrong one left when it is thicker than the thinnest fresh
        cut by this much.
    clean_cut_height_mm : float
        Below this height limbs come off clean; above it they keep a short bevel stub.
    """

    large_mm: float = Field(19.0, gt=0, le=100)
    measured_out_mm: float = Field(25.0, ge=0, le=200)
    least: int = Field(2, ge=0, le=8)
    most: int = Field(2, ge=0, le=8)
    outer_count: int = Field(2, ge=1, le=8)
    wrong_limb_mm: float = Field(3.0, gt=2, le=20)
    clean_cut_height_mm: float = Field(660.0, ge=0, le=2_000)


class ColumnsRule(StageRule):
    """
    Make each branch a single column.

    Parameters
    ----------
    branches : int
        Branches looked at on the drawn side.
    least_single : int
        How many of them must be single columns.
    outer_single : int
        Number of single columns at which points reach 0.
    side_branch_mm : float
        Length from which a shoot is a side branch and no longer spur.
    """

    branches: int = Field(5, ge=1, le=12)
    least_single: int = Field(4, ge=1, le=12)
    outer_single: int = Field(1, ge=0, le=11)
    side_branch_mm: float = Field(150.0, gt=0, le=600)


class HeadingStageRule(StageRule):
    """
    Head bent-down branches where they are pencil thick.

    Parameters
    ----------
    rule : HeadingRule
        Required, off, or forbidden.
    thinnest_mm, thickest_mm : float
        Band of the diameter just behind the cut.
    outer_mm : float
        Distance beyond the band at which points reach 0.
    looked_at : int
        Most due branches looked at on a tree.
    most_wrong : int
        Branches that may be wrong before the tree fails.
    few : int
        With fewer due branches than this, none may be wrong.
    by_mean : bool
        Whether the stage is decided by mean and spread of the measured diameters, where they
        allow it, rather than by counting trees. It takes one cut a tree, so that a tree fails
        exactly when that cut does.
    """

    rule: HeadingRule = HeadingRule.OFF
    thinnest_mm: float = Field(PENCIL_BAND_MM[0], gt=0, le=30)
    thickest_mm: float = Field(PENCIL_BAND_MM[1], gt=0, le=30)
    outer_mm: float = Field(4.0, gt=0, le=20)
    looked_at: int = Field(5, ge=1, le=12)
    most_wrong: int = Field(1, ge=0, le=5)
    few: int = Field(3, ge=0, le=5)
    by_mean: bool = False


class SamplingRule(_Frozen):
    """
    How many trees of a lot are looked at, and when it is decided.

    Parameters
    ----------
    method : PlanMethod
        By what kind of plan.
    most_waves : int
        Waves of a wave plan, at most; two are a walk out and back.
    skip_lots : bool
        Whether, after five lots in a row accepted, only one lot in three of a crew is audited.
    acceptable_quality_limit : float
        Nonconforming trees in a hundred by which the published tables are entered (AQL). It is no
        acceptable fraction: what a plan promises there, its curve says.
    inspection_level : InspectionLevel
        The tables' level of effort.
    table_kind : PlanKind
        Whether the tables' single or double plans are used.
    """

    method: PlanMethod = PlanMethod.WAVES
    most_waves: int = Field(2, ge=2, le=3)
    skip_lots: bool = True
    acceptable_quality_limit: float = Field(6.5, gt=0, le=25)
    inspection_level: InspectionLevel = InspectionLevel.GENERAL_2
    table_kind: PlanKind = PlanKind.SINGLE

    @property
    def passes_lots_over(self) -> bool:
        """Whether lots of a good crew may go without an audit; plans of the tables switch."""
        return self.skip_lots and self.method is not PlanMethod.TABLE


class SignOffRule(_Frozen):
    """
    When somebody who learns a stage has learned it.

    Parameters
    ----------
    trees : int
        Due trees in a row that are looked at together.
    most_nonconforming : int
        How many of them may be nonconforming.
    """

    trees: int = Field(20, ge=5, le=40)
    most_nonconforming: int = Field(1, ge=0, le=2)


class Standard(_Frozen):
    """
    One version of a block's pruning rule.

    Parameters
    ----------
    top, limbs, columns, heading : StageRule
        The four stages.
    row_spacing_mm : float
        Row spacing of the block when the version was written.
    top_wire_mm : float or None
        Height of the top wire, to say the target against it.
    diameter_guard_mm : float
        A diameter is held against anyone only this far or more beyond its limit (guard band after
        ISO 14253-1: the uncertainty counts against the one who claims the fault).
    producer_risk : float
        Chance that a lot that is acceptable in every stage goes back all the same.
    consumer_risk : float
        Chance that a lot with the rejectable fraction in a stage passes that stage.
    skip_decided : bool
        Whether a decided stage may be left out on the remaining trees.
    sampling : SamplingRule
        How many trees are looked at.
    limb_caller : LimbCaller
        Who calls the limbs when two people face one tree.
    sign_off : SignOffRule
        When a new hire is signed off in a stage.
    audit_within_days : int
        Days within which a finished row is audited, before brush is mulched.
    """

    top: TopRule
    limbs: LimbsRule = LimbsRule()
    columns: ColumnsRule = ColumnsRule()
    heading: HeadingStageRule = HeadingStageRule()
    row_spacing_mm: float = Field(gt=500, le=15_000)
    top_wire_mm: float | None = Field(None, gt=500, le=10_000)
    diameter_guard_mm: float = Field(1.0, ge=0, le=3)
    producer_risk: float = Field(0.05, gt=0, lt=0.5)
    consumer_risk: float = Field(0.10, gt=0, lt=0.5)
    skip_decided: bool = False
    sampling: SamplingRule = SamplingRule()
    limb_caller: LimbCaller = LimbCaller.LEFT
    sign_off: SignOffRule = SignOffRule()
    audit_within_days: int = Field(2, ge=0, le=30)

    @model_validator(mode="after")
    def _make_sense_together(self) -> Self:
        problems = contradictions(self)
        if problems:
            raise InvalidInput(problems)
        return self

    def rule(self, stage: Stage) -> StageRule:
        """
        Return the rule of one stage.

        Parameters
        ----------
        stage : Stage
            The stage.

        Returns
        -------
        StageRule
            Its rule, of the stage's own class.
        """
        rules: dict[Stage, StageRule] = {
            Stage.TOP: self.top,
            Stage.LIMBS: self.limbs,
            Stage.COLUMNS: self.columns,
            Stage.HEADING: self.heading,
        }
        return rules[stage]

    @property
    def stages_in_use(self) -> tuple[Stage, ...]:
        """The stages that are scored, from the top of the tree down."""
        return tuple(
            stage
            for stage in Stage
            if self.rule(stage).in_use
            and not (stage is Stage.HEADING and self.heading.rule is HeadingRule.OFF)
        )

    @property
    def stages_by_mean(self) -> tuple[Stage, ...]:
        """The stages in use that are decided by mean and spread where the measures allow it."""
        by_mean = {
            Stage.TOP: self.top.by_mean,
            # A heading that is forbidden leaves nothing to measure.
            Stage.HEADING: self.heading.by_mean and self.heading.rule is HeadingRule.REQUIRED,
        }
        return tuple(stage for stage in self.stages_in_use if by_mean.get(stage, False))


def contradictions(standard: Standard) -> dict[str, Message]:
    """
    Find criteria that cannot hold together.

    Parameters
    ----------
    standard : Standard
        The rule to look through.

    Returns
    -------
    dict of str to Message
        One sentence for each field at fault, by dotted field name; empty when all is well.
    """
    problems: dict[str, Message] = {}
    if not standard.stages_in_use:
        problems["top.in_use"] = say(
            "Use at least one stage: a standard without stages decides nothing."
        )
    for stage in standard.stages_in_use:
        promise = standard.rule(stage).promise
        if promise.acceptable_fraction >= promise.rejectable_fraction:
            problems[f"{stage}.promise.acceptable_fraction"] = say(
                "The acceptable fraction must be below the rejectable one."
            )
    if standard.top.outer_mm <= standard.top.tolerance_mm:
        problems["top.outer_mm"] = say("The outer limit must lie beyond the tolerance.")
    if standard.limbs.least > standard.limbs.most:
        problems["limbs.most"] = say("The most limbs out cannot be fewer than the least.")
    if standard.columns.least_single > standard.columns.branches:
        problems["columns.least_single"] = say(
            "No more single columns can be asked for than branches are looked at."
        )
    elif standard.columns.outer_single >= standard.columns.least_single:
        problems["columns.outer_single"] = say(
            "The outer limit must lie below the number of single columns asked for."
        )
    if standard.sampling.acceptable_quality_limit not in map(float, ACCEPTABLE_QUALITY_LIMITS):
        problems["sampling.acceptable_quality_limit"] = say(
            "The tables have no such quality limit; choose one of those they have."
        )
    return problems | _heading_contradictions(standard) | _mean_contradictions(standard)


def _heading_contradictions(standard: Standard) -> dict[str, Message]:
    problems: dict[str, Message] = {}
    if standard.heading.thinnest_mm >= standard.heading.thickest_mm:
        problems["heading.thickest_mm"] = say("The band's upper limit must be above its lower one.")
    if standard.heading.most_wrong >= standard.heading.looked_at:
        problems["heading.most_wrong"] = say("Fewer branches may be wrong than are looked at.")
    if standard.heading.outer_mm <= standard.diameter_guard_mm:
        problems["heading.outer_mm"] = say("The outer limit must lie beyond the guard band.")
    return problems


def _mean_contradictions(standard: Standard) -> dict[str, Message]:
    problems: dict[str, Message] = {}
    for stage, rule in ((Stage.TOP, standard.top), (Stage.HEADING, standard.heading)):
        if not rule.by_mean:
            continue
        if not rule.measured:
            problems[f"{stage}.by_mean"] = say(
                "Deciding by the mean needs measures: let the auditor measure this stage."
            )
        elif standard.sampling.method is PlanMethod.TABLE:
            problems[f"{stage}.by_mean"] = say(
                "Plans from the published tables count trees. Choose another kind of plan, or do "
                "not decide by the mean."
            )
    heading = standard.heading
    if heading.by_mean and (heading.looked_at > 1 or heading.most_wrong > 0):
        problems.setdefault(
            "heading.by_mean",
            say("To decide by the mean, look at one end on each tree, and allow no wrong one."),
        )
    return problems


def preset(
    habit: BearingHabit,
    row_spacing_mm: float,
    *,
    young: bool = False,
    low_bloom: bool = False,
    top_wire_mm: float | None = None,
) -> Standard:
    """
    Propose a standard for a block.

    Heading stays off unless the farm turns it on, and is forbidden on tip bearers, which carry
    their fruit at the shoot tips. Low-bloom and young blocks are pruned lighter: one limb, or
    none, is enough.

    Parameters
    ----------
    habit : BearingHabit
        Where the cultivar carries its fruit.
    row_spacing_mm : float
        Distance between rows.
    young : bool, optional
        Whether the block is still filling its space.
    low_bloom : bool, optional
        Whether fewer than about half the buds are floral this year.
    top_wire_mm : float or None, optional
        Height of the top wire.

    Returns
    -------
    Standard
        A standard with the published or customary defaults.

    References
    ----------
    .. [1] Height limit 0.9 x row width, two to three largest branches, single columns, pendant
       wood to pencil size on Gala: J. Clements, report of a pruning demonstration, 2009.
    .. [2] One to two limbs only in a low-bloom block: M. Basedow, Cornell ENYCHP.
    """
    lighter = young or low_bloom
    return Standard(
        top=TopRule(target_mm=target_height(row_spacing_mm, HEIGHT_TO_ROW_SPACING)),
        limbs=LimbsRule(least=0 if lighter else 2, most=1 if lighter else 2),
        heading=HeadingStageRule(
            rule=HeadingRule.FORBIDDEN if habit is BearingHabit.TIP else HeadingRule.OFF
        ),
        row_spacing_mm=row_spacing_mm,
        top_wire_mm=top_wire_mm,
    )


def asks_for_side_branch(standard: Standard, method: Method) -> bool:
    """
    Tell whether the top's cut must end at a side branch in this pass.

    Parameters
    ----------
    standard : Standard
        The rule in force.
    method : Method
        How the crew works.

    Returns
    -------
    bool
        False on machine-topped rows, whose cuts are level.
    """
    return standard.top.to_side_branch and method is not Method.MACHINE_TOPPED


def read_standard(payload: object) -> Standard:
    """
    Read a standard from its stored or entered values.

    Parameters
    ----------
    payload : object
        Nested mapping of the fields of `Standard`.

    Returns
    -------
    Standard
        The checked standard.

    Raises
    ------
    InvalidInput
        If a value lies outside its range or contradicts another; names every field at fault.
    """
    try:
        return Standard.model_validate(payload)
    except ValidationError as error:
        raise InvalidInput(
            {
                ".".join(str(part) for part in problem["loc"]): _sentence(
                    problem["type"], str(problem["loc"][-1]), problem.get("ctx", {})
                )
                for problem in error.errors()
            }
        ) from error


def _sentence(kind: str, field: str, limits: dict[str, Any]) -> Message:
    match kind:
        case "greater_than":
            return say("Must be more than %(limit)s.", limit=_readable(field, limits["gt"]))
        case "greater_than_equal":
            return say("Must be at least %(limit)s.", limit=_readable(field, limits["ge"]))
        case "less_than":
            return say("Must be less than %(limit)s.", limit=_readable(field, limits["lt"]))
        case "less_than_equal":
            return say("Must be at most %(limit)s.", limit=_readable(field, limits["le"]))
        case "missing":
            return say("Fill in this value.")
        case _:
            return say("This value cannot be read.")


def _readable(field: str, limit: float) -> object:
    """Say a limit as people enter the value: as a length, a percentage or a number."""
    if field in _DIAMETERS:
        return Length(limit, LengthKind.DIAMETER)
    if field.endswith("_mm"):
        return Length(limit)
    if field.endswith(("_fraction", "_risk")):
        return Share(limit)
    return limit
