"""Every table. Each row carries its farm, and every key that points elsewhere includes the farm."""

from typing import Any, Final

import sqlalchemy as sa

from audits.messages import Units
from audits.practice.model import TreeKind
from audits.storage.columns import UtcDateTime, Word, WordList, farm_table, points_to
from audits.vocabulary import (
    BatchKind,
    BearingHabit,
    CheckOccasion,
    ContestAnswer,
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

metadata: Final = sa.MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "ck": "ck_%(table_name)s_%(constraint_name)s",
        "fk": "fk_%(table_name)s_%(column_0_N_name)s",
        "pk": "pk_%(table_name)s",
    }
)


def _required(name: str, kind: Any) -> sa.Column[Any]:  # noqa: ANN401 - any column type
    return sa.Column(name, kind, nullable=False)


def _flag(name: str) -> sa.Column[bool]:
    return sa.Column(name, sa.Boolean, nullable=False, default=False)


# --- the farm and its people -------------------------------------------------------------------

farm = sa.Table(
    "farm",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    _required("name", sa.Text),
    _required("units", Word(Units)),
    _required("region", sa.String(2)),
    _required("language", sa.String(5)),
    _required("time_zone", sa.Text),
    _required("season_start_month", sa.Integer),
    _required("row_word", sa.Text),
    _required("emergency_location", sa.Text),
    _required("first_aider", sa.Text),
    # Right answers of ten with which a quiz is passed, and for how long a safety brief holds.
    sa.Column("quiz_pass_mark", sa.Integer, nullable=False, server_default="8"),
    sa.Column("briefing_days", sa.Integer, nullable=False, server_default="365"),
    sa.CheckConstraint("season_start_month between 1 and 12", name="month"),
)

crew = farm_table(
    "crew",
    metadata,
    _required("name", sa.Text),
    _flag("retired"),
    sa.UniqueConstraint("farm_id", "name"),
)

worker = farm_table(
    "worker",
    metadata,
    _required("code", sa.String(12)),
    _required("language", sa.String(5)),
    sa.Column("crew_id", sa.Integer),
    sa.Column("started_on", sa.Date),
    _flag("retired"),
    points_to("crew"),
    sa.UniqueConstraint("farm_id", "code"),
)

# Names stand apart from codes, so that a name can be erased and every record stays whole.
worker_name = farm_table(
    "worker_name",
    metadata,
    _required("worker_id", sa.Integer),
    _required("name", sa.Text),
    points_to("worker"),
    sa.UniqueConstraint("farm_id", "worker_id"),
)

user_account = farm_table(
    "user_account",
    metadata,
    _required("name", sa.Text),
    _required("password_hash", sa.Text),
    _required("role", Word(Role)),
    _required("language", sa.String(5)),
    sa.Column("worker_id", sa.Integer),
    _required("created_at", UtcDateTime),
    sa.Column("disabled_at", UtcDateTime),
    sa.Column("failures", sa.Integer, nullable=False, default=0),
    sa.Column("last_failure_at", UtcDateTime),
    points_to("worker"),
    sa.UniqueConstraint("farm_id", "name"),
)

# A phone that one person keeps: it signs what it sends with a key that never leaves it.
device = farm_table(
    "device",
    metadata,
    _required("uid", sa.String(36)),
    _required("name", sa.Text),
    _required("user_account_id", sa.Integer),
    # The public half of the phone's key, as a JSON web key.
    _required("public_key", sa.JSON),
    _required("pin_hash", sa.Text),
    sa.Column("pin_failures", sa.Integer, nullable=False, default=0),
    _required("enrolled_at", UtcDateTime),
    _required("enrolled_by", sa.Integer),
    sa.Column("seen_at", UtcDateTime),
    # How far the phone's clock is ahead of the server's, at its last contact.
    sa.Column("clock_ahead_ms", sa.BigInteger),
    sa.Column("revoked_at", UtcDateTime),
    sa.Column("revoked_by", sa.Integer),
    points_to("user_account"),
    points_to("user_account", "enrolled_by"),
    points_to("user_account", "revoked_by"),
    sa.UniqueConstraint("farm_id", "uid"),
)

# The one-time code behind a QR code by which a phone is enrolled.
enrolment = farm_table(
    "enrolment",
    metadata,
    _required("token_hash", sa.String(64)),
    _required("user_account_id", sa.Integer),
    _required("created_at", UtcDateTime),
    _required("created_by", sa.Integer),
    _required("expires_at", UtcDateTime),
    sa.Column("used_at", UtcDateTime),
    points_to("user_account"),
    points_to("user_account", "created_by"),
    sa.UniqueConstraint("farm_id", "token_hash"),
)

user_session = farm_table(
    "user_session",
    metadata,
    _required("token_hash", sa.String(64)),
    _required("user_account_id", sa.Integer),
    _required("created_at", UtcDateTime),
    _required("seen_at", UtcDateTime),
    # The enrolled phone that was unlocked; none where somebody signed in by password.
    sa.Column("device_id", sa.Integer),
    points_to("user_account"),
    points_to("device"),
    sa.UniqueConstraint("token_hash"),
)

# --- the orchard -------------------------------------------------------------------------------

block = farm_table(
    "block",
    metadata,
    _required("name", sa.Text),
    _required("cultivar", sa.Text),
    _required("habit", Word(BearingHabit)),
    _required("rootstock", sa.Text),
    _required("row_spacing_mm", sa.Float),
    _required("tree_spacing_mm", sa.Float),
    sa.Column("top_wire_mm", sa.Float),
    sa.Column("planting_year", sa.Integer),
    _flag("young"),
    _flag("low_bloom"),
    _required("emergency_location", sa.Text),
    _flag("retired"),
    sa.UniqueConstraint("farm_id", "name"),
)

orchard_row = farm_table(
    "orchard_row",
    metadata,
    _required("block_id", sa.Integer),
    _required("number", sa.Integer),
    _required("start_end", sa.Text),
    _required("tree_count", sa.Integer),
    sa.Column("posts", sa.Integer),
    sa.Column("trees_per_panel", sa.Integer),
    points_to("block"),
    sa.UniqueConstraint("farm_id", "block_id", "number"),
    sa.CheckConstraint("tree_count between 1 and 5000", name="tree_count"),
)

planting = farm_table(
    "planting",
    metadata,
    _required("orchard_row_id", sa.Integer),
    _required("first_position", sa.Integer),
    _required("last_position", sa.Integer),
    _required("kind", Word(PlantingKind)),
    _required("cultivar", sa.Text),
    sa.Column("year", sa.Integer),
    _required("since", sa.Date),
    sa.Column("until", sa.Date),
    points_to("orchard_row"),
    sa.CheckConstraint("1 <= first_position and first_position <= last_position", name="range"),
    sa.Index(None, "farm_id", "orchard_row_id"),
)

standard_version = farm_table(
    "standard_version",
    metadata,
    _required("block_id", sa.Integer),
    _required("version", sa.Integer),
    _required("in_force_from", sa.Date),
    _required("payload", sa.JSON),
    _required("created_at", UtcDateTime),
    _required("created_by", sa.Integer),
    points_to("block"),
    points_to("user_account", "created_by"),
    sa.UniqueConstraint("farm_id", "block_id", "version"),
)

# --- passes and lots ---------------------------------------------------------------------------

crew_pass = farm_table(
    "crew_pass",
    metadata,
    _required("block_id", sa.Integer),
    _required("crew_id", sa.Integer),
    _required("standard_version_id", sa.Integer),
    _required("kind", Word(PassKind)),
    _required("method", Word(Method)),
    _required("started_at", UtcDateTime),
    sa.Column("ended_at", UtcDateTime),
    sa.Column("hours", sa.Float),
    _required("lot_by", sa.String(10)),
    points_to("block"),
    points_to("crew"),
    points_to("standard_version"),
    sa.CheckConstraint("lot_by in ('row', 'half_day')", name="lot_by"),
)

pass_row = farm_table(
    "pass_row",
    metadata,
    _required("crew_pass_id", sa.Integer),
    _required("orchard_row_id", sa.Integer),
    _required("first_position", sa.Integer),
    _required("last_position", sa.Integer),
    sa.Column("finished_at", UtcDateTime),
    # The random number by which it is decided whether the row's lot is audited. It stays when the
    # row is taken back, so that nobody can ask twice.
    sa.Column("chance", sa.Float),
    points_to("crew_pass"),
    points_to("orchard_row"),
    sa.UniqueConstraint("farm_id", "crew_pass_id", "orchard_row_id"),
)

assignment = farm_table(
    "assignment",
    metadata,
    _required("crew_pass_id", sa.Integer),
    _required("worker_id", sa.Integer),
    _required("orchard_row_id", sa.Integer),
    _required("stage", Word(Stage)),
    _required("first_position", sa.Integer),
    _required("last_position", sa.Integer),
    _required("side", Word(Side)),
    points_to("crew_pass"),
    points_to("worker"),
    points_to("orchard_row"),
    sa.Index(None, "farm_id", "crew_pass_id"),
)

lot = farm_table(
    "lot",
    metadata,
    _required("crew_pass_id", sa.Integer),
    _required("number", sa.Integer),
    _required("state", Word(LotState)),
    _required("finished_at", UtcDateTime),
    sa.Column("closed_at", UtcDateTime),
    # What was in force when its first row was finished, and what came of it.
    sa.Column(
        "effort",
        Word(Effort),
        nullable=False,
        default=Effort.EVERY_LOT,
        server_default=Effort.EVERY_LOT,
    ),
    sa.Column("chosen", sa.Boolean, nullable=False, default=True, server_default=sa.true()),
    points_to("crew_pass"),
    sa.UniqueConstraint("farm_id", "crew_pass_id", "number"),
    sa.Index(None, "farm_id", "state"),
)

lot_range = farm_table(
    "lot_range",
    metadata,
    _required("lot_id", sa.Integer),
    _required("orchard_row_id", sa.Integer),
    _required("first_position", sa.Integer),
    _required("last_position", sa.Integer),
    points_to("lot"),
    points_to("orchard_row"),
    sa.UniqueConstraint("farm_id", "lot_id", "orchard_row_id", "first_position"),
)

# Ends a stop of acceptance by sampling: the owner has seen to what was wrong with a crew's work.
cause_removed = farm_table(
    "cause_removed",
    metadata,
    _required("crew_id", sa.Integer),
    _required("block_id", sa.Integer),
    _required("stage", Word(Stage)),
    _required("noted_at", UtcDateTime),
    _required("noted_by", sa.Integer),
    points_to("crew"),
    points_to("block"),
    points_to("user_account", "noted_by"),
    sa.Index(None, "farm_id", "crew_id", "block_id"),
)

# --- draws, audits and scores ------------------------------------------------------------------

draw = farm_table(
    "draw",
    metadata,
    # A start check has no lot: it belongs to a pass and one worker and decides nothing. A draw
    # made before its row is finished gets its lot when the row is.
    sa.Column("lot_id", sa.Integer),
    _required("crew_pass_id", sa.Integer),
    _required("purpose", Word(Purpose)),
    _required("stages", WordList(Stage)),
    # Text, because seeds are larger than a database's whole numbers.
    _required("seed", sa.Text),
    _required("lot_size", sa.Integer),
    _required("created_at", UtcDateTime),
    _required("created_by", sa.Integer),
    points_to("lot"),
    points_to("crew_pass"),
    points_to("user_account", "created_by"),
    sa.Index(None, "farm_id", "lot_id"),
)

# Draws made before their row was finished, for a phone that has no signal when it will be.
ahead_draw = farm_table(
    "ahead_draw",
    metadata,
    _required("draw_id", sa.Integer),
    _required("pass_row_id", sa.Integer),
    points_to("draw"),
    points_to("pass_row"),
    sa.UniqueConstraint("farm_id", "draw_id"),
    sa.Index(None, "farm_id", "pass_row_id"),
)

draw_stage = farm_table(
    "draw_stage",
    metadata,
    _required("draw_id", sa.Integer),
    _required("stage", Word(Stage)),
    # Cumulative sizes and numbers, one entry a wave; a single plan has one wave.
    _required("plan", sa.JSON),
    _required("producer_risk", sa.Float),
    _required("consumer_risk", sa.Float),
    points_to("draw"),
    sa.UniqueConstraint("farm_id", "draw_id", "stage"),
)

draw_tree = farm_table(
    "draw_tree",
    metadata,
    _required("draw_id", sa.Integer),
    _required("orchard_row_id", sa.Integer),
    _required("position", sa.Integer),
    _required("side", Word(Side)),
    _required("wave", sa.Integer),
    # Place in the walk; a reserve tree has none until it is taken.
    sa.Column("walk_order", sa.Integer),
    sa.Column("reserve_order", sa.Integer),
    # Set when what stands there turned out not to be a tree for the standard.
    sa.Column("found_kind", Word(PlantingKind)),
    points_to("draw"),
    points_to("orchard_row"),
    sa.UniqueConstraint("farm_id", "draw_id", "orchard_row_id", "position"),
)

audit = farm_table(
    "audit",
    metadata,
    _required("draw_id", sa.Integer),
    _required("auditor_id", sa.Integer),
    _required("client_id", sa.String(36)),
    _required("device", sa.String(64)),
    _required("device_counter", sa.Integer),
    sa.Column("worker_id", sa.Integer),
    _required("season", sa.Integer),
    _required("started_at", UtcDateTime),
    sa.Column("device_started_at", UtcDateTime),
    sa.Column("sealed_at", UtcDateTime),
    points_to("draw"),
    points_to("user_account", "auditor_id"),
    points_to("worker"),
    sa.UniqueConstraint("farm_id", "client_id"),
    sa.UniqueConstraint("farm_id", "draw_id", "auditor_id", "device"),
)

# A drawn position where an auditor found no tree for the standard, and the reserve tree that came
# instead. Each audit walks its own way, so that two phones without signal never disagree.
replacement = farm_table(
    "replacement",
    metadata,
    _required("audit_id", sa.Integer),
    # The order in which they were noted.
    _required("number", sa.Integer),
    _required("draw_tree_id", sa.Integer),
    _required("found_kind", Word(PlantingKind)),
    _required("instead_id", sa.Integer),
    points_to("audit"),
    points_to("draw_tree"),
    points_to("draw_tree", "instead_id"),
    sa.UniqueConstraint("farm_id", "audit_id", "number"),
    sa.UniqueConstraint("farm_id", "audit_id", "draw_tree_id"),
    sa.UniqueConstraint("farm_id", "audit_id", "instead_id"),
)

tree_score = farm_table(
    "tree_score",
    metadata,
    _required("audit_id", sa.Integer),
    _required("draw_tree_id", sa.Integer),
    # 1 as first sent; an amendment is a further version beside the old one.
    _required("version", sa.Integer),
    _required("client_id", sa.String(36)),
    _required("device", sa.String(64)),
    _required("device_counter", sa.Integer),
    _required("scoring_order", sa.Integer),
    _required("recorded_at", UtcDateTime),
    sa.Column("device_at", UtcDateTime),
    _required("answers", sa.JSON),
    sa.Column("points", sa.Float),
    sa.Column("amended_by", sa.Integer),
    sa.Column("reason", sa.Text),
    points_to("audit"),
    points_to("draw_tree"),
    points_to("user_account", "amended_by"),
    sa.UniqueConstraint("farm_id", "client_id"),
    sa.UniqueConstraint("farm_id", "audit_id", "draw_tree_id", "version"),
    sa.CheckConstraint("version = 1 or (reason is not null and reason <> '')", name="reason"),
)

stage_score = farm_table(
    "stage_score",
    metadata,
    _required("tree_score_id", sa.Integer),
    _required("stage", Word(Stage)),
    _required("result", Word(Result)),
    _required("faults", WordList(Fault)),
    # What was measured, in mm: the height of a top, the diameters of cuts. None where nothing was.
    sa.Column("measured_mm", sa.JSON(none_as_null=True)),
    sa.Column("points", sa.Float),
    # The one person who did the stage here; none when the result is the crew's.
    sa.Column("worker_id", sa.Integer),
    points_to("tree_score"),
    points_to("worker"),
    sa.UniqueConstraint("farm_id", "tree_score_id", "stage"),
    sa.Index(None, "farm_id", "worker_id", "stage"),
)

# The verdict as issued is version 1; an amendment that changes anything adds a version.
decision = farm_table(
    "decision",
    metadata,
    _required("audit_id", sa.Integer),
    # No stage: the lot as a whole.
    sa.Column("stage", Word(Stage)),
    _required("version", sa.Integer),
    _required("outcome", Word(Outcome)),
    _required("scored", sa.Integer),
    _required("due", sa.Integer),
    _required("nonconforming", sa.Integer),
    sa.Column("leading_fault", Word(Fault)),
    _required("decided_at", UtcDateTime),
    points_to("audit"),
    sa.Index(
        "uq_decision_stage",
        "farm_id",
        "audit_id",
        "stage",
        "version",
        unique=True,
        sqlite_where=sa.text("stage is not null"),
        postgresql_where=sa.text("stage is not null"),
    ),
    sa.Index(
        "uq_decision_lot",
        "farm_id",
        "audit_id",
        "version",
        unique=True,
        sqlite_where=sa.text("stage is null"),
        postgresql_where=sa.text("stage is null"),
    ),
)

# --- what phones send --------------------------------------------------------------------------

# Everything that an enrolled phone sent, once: remembered for ever, so that a copy changes nothing.
receipt = farm_table(
    "receipt",
    metadata,
    _required("client_id", sa.String(64)),
    sa.Column("device_id", sa.Integer),
    sa.Column("device_counter", sa.Integer),
    # The audit's id as the phone made it; unknown where the entry could not be read.
    sa.Column("audit_client_id", sa.String(36)),
    # As it was sent, byte for byte, with its SHA-256.
    _required("body", sa.Text),
    _required("body_hash", sa.String(64)),
    sa.Column("device_at", UtcDateTime),
    _required("received_at", UtcDateTime),
    _required("state", Word(ReceiptState)),
    sa.Column("held_because", Word(HeldBecause)),
    # What the server had instead, for the person who decides on an entry that is held back.
    sa.Column("held_against", sa.JSON),
    sa.Column("settled_at", UtcDateTime),
    sa.Column("settled_by", sa.Integer),
    sa.Column("settled_reason", sa.Text),
    points_to("device"),
    points_to("user_account", "settled_by"),
    sa.UniqueConstraint("farm_id", "client_id", "body_hash"),
    sa.Index(None, "farm_id", "device_id", "device_counter"),
    sa.Index(None, "farm_id", "state"),
    sa.Index(None, "farm_id", "audit_client_id"),
)

photo = farm_table(
    "photo",
    metadata,
    _required("client_id", sa.String(36)),
    _required("audit_id", sa.Integer),
    _required("draw_tree_id", sa.Integer),
    sa.Column("stage", Word(Stage)),
    # A JPEG without metadata, upright, its longer side at most 1600 pixels.
    _required("content", sa.LargeBinary),
    _required("content_hash", sa.String(64)),
    sa.Column("device_at", UtcDateTime),
    _required("received_at", UtcDateTime),
    points_to("audit"),
    points_to("draw_tree"),
    sa.UniqueConstraint("farm_id", "client_id"),
    sa.Index(None, "farm_id", "audit_id"),
)

# --- roll-ups ----------------------------------------------------------------------------------

rollup = farm_table(
    "rollup",
    metadata,
    _required("audit_id", sa.Integer),
    _required("stage", Word(Stage)),
    # No worker: the line of results shared by the crew.
    sa.Column("worker_id", sa.Integer),
    _required("season", sa.Integer),
    _required("purpose", Word(Purpose)),
    _required("crew_id", sa.Integer),
    _required("block_id", sa.Integer),
    _required("scored_on", sa.Date),
    _required("trees", sa.Integer),
    _required("due", sa.Integer),
    _required("nonconforming", sa.Integer),
    _required("points_sum", sa.Float),
    points_to("audit"),
    points_to("worker"),
    points_to("crew"),
    points_to("block"),
    sa.Index(
        "uq_rollup_worker",
        "farm_id",
        "audit_id",
        "stage",
        "worker_id",
        unique=True,
        sqlite_where=sa.text("worker_id is not null"),
        postgresql_where=sa.text("worker_id is not null"),
    ),
    sa.Index(
        "uq_rollup_shared",
        "farm_id",
        "audit_id",
        "stage",
        unique=True,
        sqlite_where=sa.text("worker_id is null"),
        postgresql_where=sa.text("worker_id is null"),
    ),
    sa.Index("ix_rollup_season", "farm_id", "season", "worker_id", "stage"),
)

# --- rework ------------------------------------------------------------------------------------

rework_order = farm_table(
    "rework_order",
    metadata,
    _required("audit_id", sa.Integer),
    _required("lot_id", sa.Integer),
    _required("created_at", UtcDateTime),
    # The pass that carries the order out.
    sa.Column("crew_pass_id", sa.Integer),
    sa.Column("done_at", UtcDateTime),
    points_to("audit"),
    points_to("lot"),
    points_to("crew_pass"),
    sa.UniqueConstraint("farm_id", "audit_id"),
)

rework_item = farm_table(
    "rework_item",
    metadata,
    _required("rework_order_id", sa.Integer),
    _required("stage", Word(Stage)),
    # Mendable faults are redone; lasting ones say: stop, retrain, watch the next trees.
    _flag("mendable"),
    _required("faults", WordList(Fault)),
    sa.Column("orchard_row_id", sa.Integer),
    sa.Column("first_position", sa.Integer),
    sa.Column("last_position", sa.Integer),
    sa.Column("worker_id", sa.Integer),
    points_to("rework_order"),
    points_to("orchard_row"),
    points_to("worker"),
)

# --- learning and training ---------------------------------------------------------------------

training_event = farm_table(
    "training_event",
    metadata,
    _required("worker_id", sa.Integer),
    _required("stage", Word(Stage)),
    _required("kind", Word(TrainingKind)),
    # The farm's own day.
    _required("held_on", sa.Date),
    _required("noted_at", UtcDateTime),
    _required("noted_by", sa.Integer),
    _required("note", sa.Text),
    points_to("worker"),
    points_to("user_account", "noted_by"),
    sa.Index(None, "farm_id", "worker_id"),
)

# New hires learn one stage at a time and are signed off stage by stage.
stage_learning = farm_table(
    "stage_learning",
    metadata,
    _required("worker_id", sa.Integer),
    _required("stage", Word(Stage)),
    _required("begun_on", sa.Date),
    _required("begun_by", sa.Integer),
    sa.Column("signed_off_at", UtcDateTime),
    sa.Column("signed_off_by", sa.Integer),
    # The trees on which it rests, and the version of the standard whose rule it followed.
    sa.Column("trees", sa.Integer),
    sa.Column("nonconforming", sa.Integer),
    sa.Column("standard_version_id", sa.Integer),
    points_to("worker"),
    points_to("user_account", "begun_by"),
    points_to("user_account", "signed_off_by"),
    points_to("standard_version"),
    sa.UniqueConstraint("farm_id", "worker_id", "stage"),
)

# --- disagreement and agreement ----------------------------------------------------------------

# A score that a worker disagrees with, until a second person answers.
contest = farm_table(
    "contest",
    metadata,
    _required("audit_id", sa.Integer),
    _required("draw_tree_id", sa.Integer),
    _required("stage", Word(Stage)),
    _required("worker_id", sa.Integer),
    _required("raised_at", UtcDateTime),
    _required("raised_by", sa.Integer),
    _required("words", sa.Text),
    sa.Column("answered_at", UtcDateTime),
    sa.Column("answered_by", sa.Integer),
    sa.Column("answer", Word(ContestAnswer)),
    sa.Column("reason", sa.Text),
    points_to("audit"),
    points_to("draw_tree"),
    points_to("worker"),
    points_to("user_account", "raised_by"),
    points_to("user_account", "answered_by"),
    sa.Index(None, "farm_id", "worker_id"),
    sa.Index(
        "uq_contest_open",
        "farm_id",
        "audit_id",
        "draw_tree_id",
        "stage",
        unique=True,
        sqlite_where=sa.text("answered_at is null"),
        postgresql_where=sa.text("answered_at is null"),
    ),
)

# Trees that several auditors score unseen by each other: a walk of their own, without a lot.
calibration = farm_table(
    "calibration",
    metadata,
    _required("draw_id", sa.Integer),
    # Against whom the others are held; none where nobody is the measure.
    sa.Column("reference_id", sa.Integer),
    _required("opened_at", UtcDateTime),
    sa.Column("closed_at", UtcDateTime),
    points_to("draw"),
    points_to("user_account", "reference_id"),
    sa.UniqueConstraint("farm_id", "draw_id"),
)

# Audits chosen to be made a second time by somebody else who does not see the first.
double_check = farm_table(
    "double_check",
    metadata,
    _required("draw_id", sa.Integer),
    _required("audit_id", sa.Integer),
    _required("chosen_at", UtcDateTime),
    sa.Column("check_audit_id", sa.Integer),
    # Set where it can no longer be made, as when the row was reworked meanwhile.
    sa.Column("waived_at", UtcDateTime),
    sa.Column("waived_by", sa.Integer),
    points_to("draw"),
    points_to("audit"),
    points_to("audit", "check_audit_id"),
    points_to("user_account", "waived_by"),
    sa.UniqueConstraint("farm_id", "draw_id"),
)

# Mixed models take a while; each is fitted in the background and kept with its date.
mixed_fit = farm_table(
    "mixed_fit",
    metadata,
    _required("season", sa.Integer),
    _required("kind", Word(FitKind)),
    _required("stage", Word(Stage)),
    _required("state", Word(FitState)),
    _required("asked_at", UtcDateTime),
    _required("asked_by", sa.Integer),
    sa.Column("begun_at", UtcDateTime),
    sa.Column("finished_at", UtcDateTime),
    # Share of the work done, in [0, 1].
    sa.Column("progress", sa.Float, nullable=False, default=0.0),
    sa.Column("result", sa.JSON(none_as_null=True)),
    sa.Column("problem", sa.Text),
    points_to("user_account", "asked_by"),
    sa.Index(None, "farm_id", "season", "kind", "stage"),
)

# --- paper -------------------------------------------------------------------------------------

# A printer with what it does to the back of a sheet, so that fronts and backs meet.
printer = farm_table(
    "printer",
    metadata,
    _required("name", sa.Text),
    _required("turned_over", Word(TurnedOver)),
    # How far backs are moved against fronts, to the right and down as one looks at the back.
    _required("back_right_mm", sa.Float),
    _required("back_down_mm", sa.Float),
    _flag("retired"),
    sa.UniqueConstraint("farm_id", "name"),
)

# What was printed together, with all that was chosen, so that it can be printed again alike.
print_batch = farm_table(
    "print_batch",
    metadata,
    _required("number", sa.Integer),
    _required("kind", Word(BatchKind)),
    _required("block_id", sa.Integer),
    _required("standard_version_id", sa.Integer),
    sa.Column("printer_id", sa.Integer),
    _required("choices", sa.JSON),
    _required("copies", sa.Integer),
    _required("made_at", UtcDateTime),
    # Empty where the command line printed it.
    sa.Column("made_by", sa.Integer),
    sa.Column("withdrawn_at", UtcDateTime),
    points_to("block"),
    points_to("standard_version"),
    points_to("printer"),
    points_to("user_account", "made_by"),
    sa.UniqueConstraint("farm_id", "number"),
)

# A check of a batch's scale with a bank card, and a steel rule where there is one.
print_check = farm_table(
    "print_check",
    metadata,
    _required("print_batch_id", sa.Integer),
    _required("occasion", Word(CheckOccasion)),
    _required("checked_at", UtcDateTime),
    _required("checked_by", sa.Integer),
    _required("card_fits", sa.Boolean),
    # The bars of 100 mm, as read off a steel rule.
    sa.Column("across_mm", sa.Float),
    sa.Column("down_mm", sa.Float),
    _required("passed", sa.Boolean),
    points_to("print_batch"),
    points_to("user_account", "checked_by"),
    sa.Index(None, "farm_id", "print_batch_id"),
)

# A quiz that somebody took, as it was answered; never changed afterwards.
quiz_attempt = farm_table(
    "quiz_attempt",
    metadata,
    _required("worker_id", sa.Integer),
    _required("standard_version_id", sa.Integer),
    _required("seed", sa.BigInteger),
    _required("variant", sa.String(1)),
    _required("method", Word(Method)),
    _required("language", sa.String(5)),
    # The place of each choice from 0, null where none was marked.
    _required("answers", sa.JSON),
    _required("questions", sa.Integer),
    _required("correct", sa.Integer),
    # The farm's mark on that day; empty where there was none yet.
    sa.Column("pass_mark", sa.Integer),
    sa.Column("source", Word(QuizSource), nullable=False, server_default=QuizSource.PAPER.value),
    sa.Column("style", Word(QuizStyle), nullable=False, server_default=QuizStyle.WORDS.value),
    # Items that were retired when the quiz was made, without which it is made again. Like the
    # letters below empty for quizzes from before items were kept.
    sa.Column("retired_items", sa.JSON),
    # Letters of the key: where they differ, the questions have changed since.
    sa.Column("key_letters", sa.String(40)),
    _required("taken_on", sa.Date),
    _required("recorded_at", UtcDateTime),
    _required("recorded_by", sa.Integer),
    points_to("worker"),
    points_to("standard_version"),
    points_to("user_account", "recorded_by"),
    sa.Index(None, "farm_id", "worker_id"),
)

# What was answered to each question, by the item that it was made from: rows for item analysis.
quiz_response = farm_table(
    "quiz_response",
    metadata,
    _required("quiz_attempt_id", sa.Integer),
    # From 1, in the order in which the person read them.
    _required("place", sa.Integer),
    _required("item", sa.String(40)),
    sa.Column("stage", Word(Stage)),
    _required("choices", sa.Integer),
    # Which choice, by its name in the item; empty where none was marked.
    sa.Column("choice", sa.String(40)),
    _required("is_right", sa.Boolean),
    points_to("quiz_attempt"),
    sa.UniqueConstraint("farm_id", "quiz_attempt_id", "place"),
    sa.Index(None, "farm_id", "item"),
)

# A quiz on a screen from its first question until it is handed in.
quiz_sitting = farm_table(
    "quiz_sitting",
    metadata,
    _required("uid", sa.String(32)),
    _required("worker_id", sa.Integer),
    _required("standard_version_id", sa.Integer),
    _required("seed", sa.BigInteger),
    _required("variant", sa.String(1)),
    _required("method", Word(Method)),
    _required("language", sa.String(5)),
    _required("style", Word(QuizStyle)),
    _required("retired_items", sa.JSON),
    _required("key_letters", sa.String(40)),
    _required("answers", sa.JSON),
    _required("begun_at", UtcDateTime),
    _required("begun_by", sa.Integer),
    sa.Column("handed_in_at", UtcDateTime),
    sa.Column("quiz_attempt_id", sa.Integer),
    points_to("worker"),
    points_to("standard_version"),
    points_to("user_account", "begun_by"),
    points_to("quiz_attempt"),
    sa.UniqueConstraint("farm_id", "uid"),
    sa.Index(None, "farm_id", "worker_id"),
)

# A quiz item that nobody is asked any more, until it is taken back in.
retired_item = farm_table(
    "retired_item",
    metadata,
    _required("item", sa.String(40)),
    _required("reason", sa.Text),
    _required("retired_at", UtcDateTime),
    _required("retired_by", sa.Integer),
    sa.Column("restored_at", UtcDateTime),
    sa.Column("restored_by", sa.Integer),
    points_to("user_account", "retired_by"),
    points_to("user_account", "restored_by"),
    sa.Index(None, "farm_id", "item"),
)

# A practice tree that somebody pruned, with the cuts as they were made; never changed afterwards.
practice_result = farm_table(
    "practice_result",
    metadata,
    _required("uid", sa.String(36)),
    _required("worker_id", sa.Integer),
    _required("standard_version_id", sa.Integer),
    _required("method", Word(Method)),
    # Which way of growing trees: cuts mean nothing on a tree grown otherwise.
    _required("edition", sa.Integer),
    _required("tree_seed", sa.BigInteger),
    _required("tree_kind", Word(TreeKind)),
    _required("level", Word(PracticeLevel)),
    _required("stages", WordList(Stage)),
    _required("cuts", sa.JSON),
    _required("language", sa.String(5)),
    # As the phone claims.
    _required("done_at", UtcDateTime),
    _required("recorded_at", UtcDateTime),
    _required("recorded_by", sa.Integer),
    # Why it could not be scored; empty where it was.
    sa.Column("problem", sa.String(40)),
    points_to("worker"),
    points_to("standard_version"),
    points_to("user_account", "recorded_by"),
    sa.UniqueConstraint("farm_id", "uid"),
    sa.Index(None, "farm_id", "worker_id"),
)

# What the engine made of each stage that was practised.
practice_stage = farm_table(
    "practice_stage",
    metadata,
    _required("practice_result_id", sa.Integer),
    _required("stage", Word(Stage)),
    _required("result", Word(Result)),
    _required("faults", WordList(Fault)),
    sa.Column("points", sa.Float),
    points_to("practice_result"),
    sa.UniqueConstraint("farm_id", "practice_result_id", "stage"),
)

# A tree that somebody judged on the phone.
exercise_result = farm_table(
    "exercise_result",
    metadata,
    _required("uid", sa.String(36)),
    _required("worker_id", sa.Integer),
    _required("standard_version_id", sa.Integer),
    _required("item", sa.String(40)),
    sa.Column("stage", Word(Stage)),
    _required("choice", sa.String(40)),
    _required("is_right", sa.Boolean),
    _required("language", sa.String(5)),
    _required("done_at", UtcDateTime),
    _required("recorded_at", UtcDateTime),
    _required("recorded_by", sa.Integer),
    points_to("worker"),
    points_to("standard_version"),
    points_to("user_account", "recorded_by"),
    sa.UniqueConstraint("farm_id", "uid"),
    sa.Index(None, "farm_id", "worker_id"),
)

# That somebody was given the safety brief of a method of work.
safety_briefing = farm_table(
    "safety_briefing",
    metadata,
    _required("worker_id", sa.Integer),
    _required("method", Word(Method)),
    _required("language", sa.String(5)),
    _required("held_on", sa.Date),
    # The last day on which it holds, by the farm's rule on the day it was noted.
    _required("holds_until", sa.Date),
    _required("noted_at", UtcDateTime),
    _required("noted_by", sa.Integer),
    sa.Column("withdrawn_at", UtcDateTime),
    sa.Column("withdrawn_by", sa.Integer),
    points_to("worker"),
    points_to("user_account", "noted_by"),
    points_to("user_account", "withdrawn_by"),
    sa.Index(None, "farm_id", "worker_id"),
)

# A photo of a paper sheet with what was read off it; it stays with what was kept from it.
sheet_photo = farm_table(
    "sheet_photo",
    metadata,
    _required("kind", Word(SheetKind)),
    # What the sheet's own code says.
    _required("code", sa.Text),
    sa.Column("audit_id", sa.Integer),
    sa.Column("quiz_attempt_id", sa.Integer),
    _required("content", sa.LargeBinary),
    _required("content_hash", sa.String(64)),
    # What was read, cell by cell; a person confirms it before anything is kept from it.
    _required("reading", sa.JSON),
    _required("received_at", UtcDateTime),
    _required("received_by", sa.Integer),
    sa.Column("settled_at", UtcDateTime),
    points_to("audit"),
    points_to("quiz_attempt"),
    points_to("user_account", "received_by"),
    sa.UniqueConstraint("farm_id", "content_hash"),
    sa.Index(None, "farm_id", "audit_id"),
)
