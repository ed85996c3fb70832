"""What storage gives back: one frozen record a row, without any rule."""

from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from audits.messages import Units
from audits.practice.model import TreeKind
from audits.vocabulary import (
    BatchKind,
    BearingHabit,
    CheckOccasion,
    Effort,
    Fault,
    FitKind,
    FitState,
    HeldBecause,
    LotState,
    Method,
    Outcome,
    PassKind,
    PlantingKind,
    PracticeLevel,
    Purpose,
    QuizSource,
    QuizStyle,
    ReceiptState,
    Result,
    Role,
    SheetKind,
    Side,
    Stage,
    TrainingKind,
    TurnedOver,
)


@dataclass(frozen=True)
class Farm:
    """A farm and how its people read."""

    id: int
    name: str
    units: Units
    region: str
    language: str
    time_zone: str
    season_start_month: int
    row_word: str
    emergency_location: str
    first_aider: str
    quiz_pass_mark: int
    briefing_days: int


@dataclass(frozen=True)
class Actor:
    """The signed-in person on whose behalf something is done."""

    user_id: int
    farm_id: int
    name: str
    role: Role
    language: str
    worker_id: int | None


@dataclass(frozen=True)
class Crew:
    """A crew."""

    id: int
    name: str
    retired: bool


@dataclass(frozen=True)
class Worker:
    """A worker with the name that goes with the code; the name is empty once erased."""

    id: int
    code: str
    name: str
    language: str
    crew_id: int | None
    started_on: date | None
    retired: bool


@dataclass(frozen=True)
class User:
    """A person who can sign in."""

    id: int
    farm_id: int
    name: str
    password_hash: str
    role: Role
    language: str
    worker_id: int | None
    disabled_at: datetime | None
    failures: int
    last_failure_at: datetime | None


@dataclass(frozen=True)
class DeviceRow:
    """A phone enrolled for one person; the private half of its key never leaves it."""

    id: int
    uid: str
    name: str
    user_account_id: int
    # A JWK with the public point of a P-256 key.
    public_key: dict[str, Any]
    pin_failures: int
    enrolled_at: datetime
    seen_at: datetime | None
    clock_ahead_ms: int | None
    revoked_at: datetime | None


@dataclass(frozen=True)
class Block:
    """A block of one cultivar."""

    id: int
    name: str
    cultivar: str
    habit: BearingHabit
    rootstock: str
    row_spacing_mm: float
    tree_spacing_mm: float
    top_wire_mm: float | None
    planting_year: int | None
    young: bool
    low_bloom: bool
    emergency_location: str
    retired: bool


@dataclass(frozen=True)
class Row:
    """A row of a block."""

    id: int
    block_id: int
    number: int
    start_end: str
    tree_count: int
    posts: int | None
    trees_per_panel: int | None


@dataclass(frozen=True)
class PlantingRow:
    """What stands on a stretch of a row since a date."""

    id: int
    orchard_row_id: int
    first_position: int
    last_position: int
    kind: PlantingKind
    cultivar: str
    year: int | None
    since: date
    until: date | None


@dataclass(frozen=True)
class StandardVersion:
    """A numbered version of a block's standard."""

    id: int
    block_id: int
    version: int
    in_force_from: date
    payload: dict[str, Any]
    created_at: datetime


@dataclass(frozen=True)
class CrewPass:
    """One crew going once through some rows of a block."""

    id: int
    block_id: int
    crew_id: int
    standard_version_id: int
    kind: PassKind
    method: Method
    started_at: datetime
    ended_at: datetime | None
    hours: float | None
    lot_by: str


@dataclass(frozen=True)
class PassRow:
    """A row, or part of one, that a pass goes through."""

    id: int
    crew_pass_id: int
    orchard_row_id: int
    first_position: int
    last_position: int
    finished_at: datetime | None
    chance: float | None


@dataclass(frozen=True)
class AssignmentRow:
    """Who did a stage on a stretch of a row."""

    id: int
    crew_pass_id: int
    worker_id: int
    orchard_row_id: int
    stage: Stage
    first_position: int
    last_position: int
    side: Side


@dataclass(frozen=True)
class Lot:
    """Trees of one pass that are accepted or not together."""

    id: int
    crew_pass_id: int
    number: int
    state: LotState
    finished_at: datetime
    closed_at: datetime | None
    effort: Effort
    chosen: bool


@dataclass(frozen=True)
class LotRange:
    """A stretch of a row that belongs to a lot."""

    lot_id: int
    orchard_row_id: int
    first_position: int
    last_position: int


@dataclass(frozen=True)
class CauseNoted:
    """That the cause of a crew's bad work in one stage of a block was put right."""

    crew_id: int
    block_id: int
    stage: Stage
    noted_at: datetime


@dataclass(frozen=True)
class Draw:
    """The random selection of sample trees, with its seed."""

    id: int
    lot_id: int | None
    crew_pass_id: int
    purpose: Purpose
    stages: tuple[Stage, ...]
    seed: str
    lot_size: int
    created_at: datetime


@dataclass(frozen=True)
class DrawStage:
    """The plan by which a draw decides one stage."""

    draw_id: int
    stage: Stage
    plan: dict[str, Any]
    producer_risk: float
    consumer_risk: float


@dataclass(frozen=True)
class DrawTree:
    """A tree of a draw or of its reserve."""

    id: int
    draw_id: int
    orchard_row_id: int
    position: int
    side: Side
    wave: int
    walk_order: int | None
    reserve_order: int | None
    found_kind: PlantingKind | None


@dataclass(frozen=True)
class Audit:
    """A draw scored by one auditor."""

    id: int
    draw_id: int
    auditor_id: int
    client_id: str
    device: str
    device_counter: int
    worker_id: int | None
    season: int
    started_at: datetime
    sealed_at: datetime | None


@dataclass(frozen=True)
class Replacement:
    """That no tree stood at a drawn place, and which reserve tree came instead, in one audit."""

    audit_id: int
    number: int
    draw_tree_id: int
    found_kind: PlantingKind
    instead_id: int


@dataclass(frozen=True)
class TreeScoreRow:
    """One version of a tree's answers."""

    id: int
    audit_id: int
    draw_tree_id: int
    version: int
    client_id: str
    device: str
    device_counter: int
    scoring_order: int
    recorded_at: datetime
    answers: dict[str, Any]
    points: float | None
    amended_by: int | None
    reason: str | None


@dataclass(frozen=True)
class StageScoreRow:
    """What one stage of one version of a tree's answers came to."""

    tree_score_id: int
    stage: Stage
    result: Result
    faults: tuple[Fault, ...]
    points: float | None
    worker_id: int | None
    wave: int


@dataclass(frozen=True)
class Decision:
    """A verdict on one stage, or on the lot where no stage is named."""

    audit_id: int
    stage: Stage | None
    version: int
    outcome: Outcome
    scored: int
    due: int
    nonconforming: int
    leading_fault: Fault | None
    decided_at: datetime


@dataclass(frozen=True)
class ReceiptRow:
    """Something that a phone sent, as it came, and what became of it."""

    id: int
    client_id: str
    device_id: int | None
    device_counter: int | None
    audit_client_id: str | None
    body: str
    body_hash: str
    device_at: datetime | None
    received_at: datetime
    state: ReceiptState
    held_because: HeldBecause | None
    held_against: dict[str, Any] | None
    settled_at: datetime | None
    settled_by: int | None
    settled_reason: str | None


@dataclass(frozen=True)
class Rollup:
    """Sums of one audit for a stage and a worker; no worker is the crew's shared line."""

    audit_id: int
    stage: Stage
    worker_id: int | None
    season: int
    purpose: Purpose
    crew_id: int
    block_id: int
    scored_on: date
    trees: int
    due: int
    nonconforming: int
    points_sum: float


@dataclass(frozen=True)
class ReworkOrder:
    """What goes back after an audit."""

    id: int
    audit_id: int
    lot_id: int
    created_at: datetime
    crew_pass_id: int | None
    done_at: datetime | None


@dataclass(frozen=True)
class ReworkItem:
    """One stage of a rework order, for a stretch and perhaps a person."""

    rework_order_id: int
    stage: Stage
    mendable: bool
    faults: tuple[Fault, ...]
    orchard_row_id: int | None
    first_position: int | None
    last_position: int | None
    worker_id: int | None


@dataclass(frozen=True)
class TrainingEvent:
    """That somebody was shown a stage."""

    id: int
    worker_id: int
    stage: Stage
    kind: TrainingKind
    held_on: date
    noted_at: datetime
    noted_by: int
    note: str


@dataclass(frozen=True)
class StageLearning:
    """A stage that somebody learns, and how it was signed off."""

    id: int
    worker_id: int
    stage: Stage
    begun_on: date
    begun_by: int
    signed_off_at: datetime | None
    signed_off_by: int | None
    trees: int | None
    nonconforming: int | None
    standard_version_id: int | None


@dataclass(frozen=True)
class Calibration:
    """A walk whose trees several auditors score unseen by each other."""

    id: int
    draw_id: int
    reference_id: int | None
    opened_at: datetime
    closed_at: datetime | None


@dataclass(frozen=True)
class DoubleCheck:
    """An audit that somebody else makes a second time, unseen."""

    id: int
    draw_id: int
    audit_id: int
    chosen_at: datetime
    check_audit_id: int | None
    waived_at: datetime | None
    waived_by: int | None


@dataclass(frozen=True)
class MixedFit:
    """A mixed model, asked for, worked out or failed."""

    id: int
    season: int
    kind: FitKind
    stage: Stage
    state: FitState
    asked_at: datetime
    asked_by: int
    begun_at: datetime | None
    finished_at: datetime | None
    progress: float
    result: dict[str, Any] | None
    problem: str | None


@dataclass(frozen=True)
class Printer:
    """A printer, and how its backs are moved so that they meet the fronts."""

    id: int
    name: str
    turned_over: TurnedOver
    back_right_mm: float
    back_down_mm: float
    retired: bool


@dataclass(frozen=True)
class PrintBatch:
    """Cards or gauges printed together, with all that was chosen."""

    id: int
    number: int
    kind: BatchKind
    block_id: int
    standard_version_id: int
    printer_id: int | None
    choices: dict[str, Any]
    copies: int
    made_at: datetime
    made_by: int | None
    withdrawn_at: datetime | None


@dataclass(frozen=True)
class PrintCheck:
    """A check of a batch's scale."""

    id: int
    print_batch_id: int
    occasion: CheckOccasion
    checked_at: datetime
    checked_by: int
    card_fits: bool
    across_mm: float | None
    down_mm: float | None
    passed: bool


@dataclass(frozen=True)
class QuizAttempt:
    """A quiz that somebody took, as it was answered."""

    id: int
    worker_id: int
    standard_version_id: int
    seed: int
    variant: str
    method: Method
    language: str
    answers: list[int | None]
    questions: int
    correct: int
    pass_mark: int | None
    source: QuizSource
    style: QuizStyle
    retired_items: list[str] | None
    key_letters: str | None
    taken_on: date
    recorded_at: datetime
    recorded_by: int


@dataclass(frozen=True)
class QuizResponse:
    """What was answered to one question of a quiz that was taken."""

    quiz_attempt_id: int
    place: int
    item: str
    stage: Stage | None
    choices: int
    choice: str | None
    is_right: bool


@dataclass(frozen=True)
class QuizSitting:
    """A quiz on a screen, begun and perhaps handed in."""

    id: int
    uid: str
    worker_id: int
    standard_version_id: int
    seed: int
    variant: str
    method: Method
    language: str
    style: QuizStyle
    retired_items: list[str]
    key_letters: str
    answers: list[int | None]
    begun_at: datetime
    begun_by: int
    handed_in_at: datetime | None
    quiz_attempt_id: int | None


@dataclass(frozen=True)
class RetiredItem:
    """A quiz item that nobody is asked any more."""

    id: int
    item: str
    reason: str
    retired_at: datetime
    retired_by: int
    restored_at: datetime | None
    restored_by: int | None


@dataclass(frozen=True)
class PracticeResult:
    """A practice tree that somebody pruned."""

    id: int
    uid: str
    worker_id: int
    standard_version_id: int
    method: Method
    edition: int
    tree_seed: int
    tree_kind: TreeKind
    level: PracticeLevel
    stages: tuple[Stage, ...]
    cuts: dict[str, Any]
    language: str
    done_at: datetime
    recorded_at: datetime
    recorded_by: int
    problem: str | None


@dataclass(frozen=True)
class PracticeStage:
    """What the engine made of a stage that was practised."""

    practice_result_id: int
    stage: Stage
    result: Result
    faults: tuple[Fault, ...]
    points: float | None


@dataclass(frozen=True)
class ExerciseResult:
    """A tree that somebody judged on the phone."""

    id: int
    uid: str
    worker_id: int
    standard_version_id: int
    item: str
    stage: Stage | None
    choice: str
    is_right: bool
    language: str
    done_at: datetime
    recorded_at: datetime
    recorded_by: int


@dataclass(frozen=True)
class SafetyBriefing:
    """That somebody was given the safety brief of a method of work."""

    id: int
    worker_id: int
    method: Method
    language: str
    held_on: date
    holds_until: date
    noted_at: datetime
    noted_by: int
    withdrawn_at: datetime | None
    withdrawn_by: int | None


@dataclass(frozen=True)
class SheetPhoto:
    """A photo of a paper sheet, without its content, and what was read off it."""

    id: int
    kind: SheetKind
    code: str
    audit_id: int | None
    quiz_attempt_id: int | None
    reading: dict[str, Any]
    received_at: datetime
    received_by: int
    settled_at: datetime | None
