"""The words of the trade as fixed sets, each member with its name for people."""

from enum import StrEnum
from typing import Final

from audits.messages import mark


class Stage(StrEnum):
    """A pruning step, in order from the top of the tree down to branch ends."""

    TOP = "top"
    LIMBS = "limbs"
    COLUMNS = "columns"
    HEADING = "heading"


class Fault(StrEnum):
    """The named way in which a tree fails a stage."""

    HIGH = "high"
    LOW = "low"
    BLUNT = "blunt"
    LEADER_YOUNG = "leader_young"
    TOO_FEW = "too_few"
    TOO_MANY = "too_many"
    WRONG_LIMB = "wrong_limb"
    FLUSH_CUT = "flush_cut"
    LOW_STUB = "low_stub"
    LONG_STUB = "long_stub"
    TORN_BARK = "torn_bark"
    FORK = "fork"
    SIDE_BRANCH = "side_branch"
    UPRIGHT = "upright"
    TIP_SHORTENED = "tip_shortened"
    SPURS_STRIPPED = "spurs_stripped"
    THICK = "thick"
    THIN = "thin"
    LEFT_LONG = "left_long"
    FORBIDDEN = "forbidden"
    TREE_MISSED = "tree_missed"
    SIDE_MISSED = "side_missed"


class Result(StrEnum):
    """What one stage of one tree came to."""

    CONFORMING = "conforming"
    NONCONFORMING = "nonconforming"
    NOT_DUE = "not_due"
    NOT_SCORED = "not_scored"


class Side(StrEnum):
    """A side of the row, seen by someone walking from the row's start."""

    LEFT = "left"
    RIGHT = "right"
    BOTH = "both"


class PlantingKind(StrEnum):
    """What stands at a position."""

    BEARING = "bearing"
    REPLANT = "replant"
    POLLINIZER = "pollinizer"
    OTHER_CULTIVAR = "other_cultivar"
    DEAD = "dead"
    MISSING = "missing"


class BearingHabit(StrEnum):
    """Where a cultivar carries its fruit; it decides whether branch ends may be headed."""

    SPUR = "spur"
    SEMI_SPUR = "semi_spur"
    STANDARD = "standard"
    TIP = "tip"


class HeadingRule(StrEnum):
    """What the standard says of heading pendant branches."""

    REQUIRED = "required"
    OFF = "off"
    FORBIDDEN = "forbidden"


class PassKind(StrEnum):
    """Why a crew goes through the rows."""

    DORMANT = "dormant"
    SUMMER = "summer"
    REWORK = "rework"


class Method(StrEnum):
    """From where a crew works."""

    LADDER = "ladder"
    PLATFORM = "platform"
    GROUND = "ground"
    MACHINE_TOPPED = "machine_topped"


class Role(StrEnum):
    """What a person may see and do."""

    OWNER = "owner"
    SUPERVISOR = "supervisor"
    WORKER = "worker"


class Purpose(StrEnum):
    """Why trees are scored."""

    FIRST = "first"
    RE_AUDIT = "re_audit"
    START_CHECK = "start_check"
    CALIBRATION = "calibration"


class TrainingKind(StrEnum):
    """How somebody was shown a stage."""

    IN_ROW = "in_row"
    CARD = "card"
    MODEL_TREES = "model_trees"
    PRACTICE = "practice"
    QUIZ = "quiz"


class ContestAnswer(StrEnum):
    """What a second person said of a score that a worker disagrees with."""

    STANDS = "stands"
    CHANGED = "changed"


class FitKind(StrEnum):
    """What a mixed model is fitted to."""

    FAULTS = "faults"
    HEIGHTS = "heights"


class BatchKind(StrEnum):
    """What was printed together; both carry gauges, which hold only if the scale was kept."""

    CARDS = "cards"
    GAUGES = "gauges"


class CheckOccasion(StrEnum):
    """Why the scale of a print batch was checked."""

    PRINTED = "printed"
    LAMINATED = "laminated"
    WET = "wet"
    NEW_SEASON = "new_season"


class TurnedOver(StrEnum):
    """Over which edge a printer turns the sheet to print its back."""

    LONG_EDGE = "long_edge"
    SHORT_EDGE = "short_edge"


class SheetKind(StrEnum):
    """A paper sheet that can be read back from a photo."""

    TALLY = "tally"
    ANSWERS = "answers"


class QuizSource(StrEnum):
    """Where a quiz was answered."""

    PAPER = "paper"
    SCREEN = "screen"


class QuizStyle(StrEnum):
    """How the choices of a quiz are shown: in words, or in pictures and numbers alone."""

    WORDS = "words"
    PICTURES = "pictures"


class PracticeLevel(StrEnum):
    """How many stages of a practice tree are pruned at once."""

    ONE = "one"
    TWO = "two"
    ALL = "all"


class FitState(StrEnum):
    """Where the work on a mixed model stands."""

    ASKED = "asked"
    RUNNING = "running"
    DONE = "done"
    FAILED = "failed"


class Outcome(StrEnum):
    """Where a stage or a lot stands."""

    OPEN = "open"
    ACCEPTED = "accepted"
    NOT_ACCEPTED = "not_accepted"


class Effort(StrEnum):
    """How many of a crew's lots are audited."""

    EVERY_LOT = "every_lot"
    ONE_IN_THREE = "one_in_three"


class LotState(StrEnum):
    """Where a lot stands between pruning and closing."""

    WAITING = "waiting"
    IN_AUDIT = "in_audit"
    ACCEPTED = "accepted"
    REWORK = "rework"
    CLOSED_NOT_ACCEPTED = "closed_not_accepted"
    NOT_CHOSEN = "not_chosen"


class PlanMethod(StrEnum):
    """By what kind of plan the stages of a lot are decided."""

    WAVES = "waves"
    SINGLE = "single"
    DOUBLE = "double"
    TABLE = "table"


class Strictness(StrEnum):
    """How seldom a bad lot may pass, against what the standard says."""

    LIGHTER = "lighter"
    AS_WRITTEN = "as_written"
    STRICTER = "stricter"


class ReceiptState(StrEnum):
    """What became of an entry that a phone sent."""

    STORED = "stored"
    HELD = "held"
    TAKEN = "taken"
    SET_ASIDE = "set_aside"


class HeldBecause(StrEnum):
    """Why an entry that a phone sent was not stored but held back for a person to decide."""

    DAMAGED = "damaged"
    UNKNOWN_DRAW = "unknown_draw"
    UNKNOWN_TREE = "unknown_tree"
    OTHER_DRAW = "other_draw"
    STANDARD_CHANGED = "standard_changed"
    ANSWER_REFUSED = "answer_refused"
    GAUGE_UNUSABLE = "gauge_unusable"
    ALREADY_SEALED = "already_sealed"
    STILL_OPEN = "still_open"
    OTHER_VERDICT = "other_verdict"
    ID_USED = "id_used"
    NOT_OWN = "not_own"
    REVOKED = "revoked"


STAGES: Final = tuple(Stage)

STAGE_NAMES: Final = {
    Stage.TOP: mark("Top"),
    Stage.LIMBS: mark("Limbs"),
    Stage.COLUMNS: mark("Columns"),
    Stage.HEADING: mark("Heading"),
}

FAULT_NAMES: Final = {
    Fault.HIGH: mark("Too high"),
    Fault.LOW: mark("Too low"),
    Fault.BLUNT: mark("Blunt cut"),
    Fault.LEADER_YOUNG: mark("Leader taken too young"),
    Fault.TOO_FEW: mark("Too few limbs out"),
    Fault.TOO_MANY: mark("Too many limbs out"),
    Fault.WRONG_LIMB: mark("Wrong limb out"),
    Fault.FLUSH_CUT: mark("Flush cut"),
    Fault.LOW_STUB: mark("Stub left low down"),
    Fault.LONG_STUB: mark("Long stub"),
    Fault.TORN_BARK: mark("Torn bark"),
    Fault.FORK: mark("Fork left"),
    Fault.SIDE_BRANCH: mark("Side branch left"),
    Fault.UPRIGHT: mark("Strong upright left"),
    Fault.TIP_SHORTENED: mark("Tip shortened"),
    Fault.SPURS_STRIPPED: mark("Spurs stripped"),
    Fault.THICK: mark("Cut too thick"),
    Fault.THIN: mark("Cut too thin"),
    Fault.LEFT_LONG: mark("Left long"),
    Fault.FORBIDDEN: mark("Headed where forbidden"),
    Fault.TREE_MISSED: mark("Tree missed"),
    Fault.SIDE_MISSED: mark("Side missed"),
}

STAGE_FAULTS: Final = {
    Stage.TOP: (Fault.HIGH, Fault.LOW, Fault.BLUNT, Fault.LEADER_YOUNG),
    Stage.LIMBS: (
        Fault.TOO_FEW,
        Fault.TOO_MANY,
        Fault.WRONG_LIMB,
        Fault.FLUSH_CUT,
        Fault.LOW_STUB,
        Fault.LONG_STUB,
        Fault.TORN_BARK,
    ),
    Stage.COLUMNS: (
        Fault.FORK,
        Fault.SIDE_BRANCH,
        Fault.UPRIGHT,
        Fault.TIP_SHORTENED,
        Fault.SPURS_STRIPPED,
    ),
    Stage.HEADING: (Fault.THICK, Fault.THIN, Fault.LEFT_LONG, Fault.FORBIDDEN),
}

# A mendable fault can be put right by another cut; a lasting one cannot.
MENDABLE_FAULTS: Final = frozenset(
    {
        Fault.HIGH,
        Fault.BLUNT,
        Fault.TOO_FEW,
        Fault.LOW_STUB,
        Fault.LONG_STUB,
        Fault.FORK,
        Fault.SIDE_BRANCH,
        Fault.UPRIGHT,
        Fault.THIN,
        Fault.LEFT_LONG,
        Fault.TREE_MISSED,
        Fault.SIDE_MISSED,
    }
)

RESULT_NAMES: Final = {
    Result.CONFORMING: mark("Right"),
    Result.NONCONFORMING: mark("Fault"),
    Result.NOT_DUE: mark("Nothing due"),
    Result.NOT_SCORED: mark("Not scored"),
}

SIDE_NAMES: Final = {
    Side.LEFT: mark("left side"),
    Side.RIGHT: mark("right side"),
    Side.BOTH: mark("both sides"),
}

PLANTING_KIND_NAMES: Final = {
    PlantingKind.BEARING: mark("Bearing tree"),
    PlantingKind.REPLANT: mark("Young replant"),
    PlantingKind.POLLINIZER: mark("Pollinizer"),
    PlantingKind.OTHER_CULTIVAR: mark("Other cultivar"),
    PlantingKind.DEAD: mark("Dead tree"),
    PlantingKind.MISSING: mark("Missing tree"),
}

BEARING_HABIT_NAMES: Final = {
    BearingHabit.SPUR: mark("Spur"),
    BearingHabit.SEMI_SPUR: mark("Semi-spur"),
    BearingHabit.STANDARD: mark("Standard, spreading"),
    BearingHabit.TIP: mark("Tip bearing"),
}

HEADING_RULE_NAMES: Final = {
    HeadingRule.REQUIRED: mark("Required"),
    HeadingRule.OFF: mark("Off"),
    HeadingRule.FORBIDDEN: mark("Forbidden"),
}

PASS_KIND_NAMES: Final = {
    PassKind.DORMANT: mark("Dormant pruning"),
    PassKind.SUMMER: mark("Summer pruning"),
    PassKind.REWORK: mark("Rework"),
}

METHOD_NAMES: Final = {
    Method.LADDER: mark("Ladders"),
    Method.PLATFORM: mark("Platform"),
    Method.GROUND: mark("From the ground"),
    Method.MACHINE_TOPPED: mark("Machine-topped"),
}

ROLE_NAMES: Final = {
    Role.OWNER: mark("Owner"),
    Role.SUPERVISOR: mark("Supervisor"),
    Role.WORKER: mark("Worker"),
}

PURPOSE_NAMES: Final = {
    Purpose.FIRST: mark("First audit"),
    Purpose.RE_AUDIT: mark("Re-audit"),
    Purpose.START_CHECK: mark("Start check"),
    Purpose.CALIBRATION: mark("Calibration walk"),
}

TRAINING_KIND_NAMES: Final = {
    TrainingKind.IN_ROW: mark("Shown in the row"),
    TrainingKind.CARD: mark("Pocket card gone through"),
    TrainingKind.MODEL_TREES: mark("Pruned model trees together"),
    TrainingKind.PRACTICE: mark("Practice trees"),
    TrainingKind.QUIZ: mark("Quiz"),
}

BATCH_KIND_NAMES: Final = {
    BatchKind.CARDS: mark("Pocket cards"),
    BatchKind.GAUGES: mark("Gauges"),
}

CHECK_OCCASION_NAMES: Final = {
    CheckOccasion.PRINTED: mark("Fresh from the printer"),
    CheckOccasion.LAMINATED: mark("After laminating"),
    CheckOccasion.WET: mark("After it got wet"),
    CheckOccasion.NEW_SEASON: mark("At the start of a season"),
}

TURNED_OVER_NAMES: Final = {
    TurnedOver.LONG_EDGE: mark("Over the long edge"),
    TurnedOver.SHORT_EDGE: mark("Over the short edge"),
}

SHEET_KIND_NAMES: Final = {
    SheetKind.TALLY: mark("Tally sheet"),
    SheetKind.ANSWERS: mark("Answer sheet"),
}

CONTEST_ANSWER_NAMES: Final = {
    ContestAnswer.STANDS: mark("The score stands"),
    ContestAnswer.CHANGED: mark("The score was changed"),
}

OUTCOME_NAMES: Final = {
    Outcome.OPEN: mark("Still open"),
    Outcome.ACCEPTED: mark("Accepted"),
    Outcome.NOT_ACCEPTED: mark("Not accepted"),
}

LOT_STATE_NAMES: Final = {
    LotState.WAITING: mark("Waiting for audit"),
    LotState.IN_AUDIT: mark("Audit begun"),
    LotState.ACCEPTED: mark("Accepted"),
    LotState.REWORK: mark("Rework"),
    LotState.CLOSED_NOT_ACCEPTED: mark("Not accepted, cannot be mended"),
    LotState.NOT_CHOSEN: mark("Not chosen for an audit"),
}

HELD_BECAUSE_NAMES: Final = {
    HeldBecause.DAMAGED: mark("It cannot be read."),
    HeldBecause.UNKNOWN_DRAW: mark("It names a draw that this farm does not have."),
    HeldBecause.UNKNOWN_TREE: mark("It names a tree that is not in the walk of its audit."),
    HeldBecause.OTHER_DRAW: mark("The map of its row has changed since its trees were drawn."),
    HeldBecause.STANDARD_CHANGED: mark("It was scored by another standard than the pass has."),
    HeldBecause.ANSWER_REFUSED: mark("An answer does not fit its stage."),
    HeldBecause.GAUGE_UNUSABLE: mark("Its diameters were measured with a gauge not to be used."),
    HeldBecause.ALREADY_SEALED: mark("The audit was sealed before it came."),
    HeldBecause.STILL_OPEN: mark("A stage of the audit is still open."),
    HeldBecause.OTHER_VERDICT: mark("The phone showed another verdict than the one found here."),
    HeldBecause.ID_USED: mark("Something else was sent under its id before."),
    HeldBecause.NOT_OWN: mark("The audit belongs to somebody else."),
    HeldBecause.REVOKED: mark("The phone was revoked before it was sent."),
}

PLAN_METHOD_NAMES: Final = {
    PlanMethod.WAVES: mark("In waves: stop early where the row is clearly good or bad"),
    PlanMethod.SINGLE: mark("One sample"),
    PlanMethod.DOUBLE: mark("Two samples of the same size"),
    PlanMethod.TABLE: mark("From the published tables (MIL-STD-105E)"),
}

STRICTNESS_NAMES: Final = {
    Strictness.LIGHTER: mark("Lighter"),
    Strictness.AS_WRITTEN: mark("As the standard says"),
    Strictness.STRICTER: mark("Stricter"),
}
