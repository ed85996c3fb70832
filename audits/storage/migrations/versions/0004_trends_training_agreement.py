"""Trends, training, disagreement, agreement, and what was measured beside what it came to.

A landed migration is never edited and imports nothing from the application: what it needs to know
of a table stands here, as it was on that day. Try it on tables with rows in them.
"""

from collections.abc import Mapping
from typing import Any

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "mixed_fit",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("farm_id", sa.Integer(), nullable=False),
        sa.Column("season", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(length=15), nullable=False),
        sa.Column("stage", sa.String(length=15), nullable=False),
        sa.Column("state", sa.String(length=15), nullable=False),
        sa.Column("asked_at", sa.DateTime(), nullable=False),
        sa.Column("asked_by", sa.Integer(), nullable=False),
        sa.Column("begun_at", sa.DateTime(), nullable=True),
        sa.Column("finished_at", sa.DateTime(), nullable=True),
        sa.Column("progress", sa.Float(), nullable=False),
        sa.Column("result", sa.JSON(none_as_null=True), nullable=True),
        sa.Column("problem", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(
            ["farm_id", "asked_by"],
            ["user_account.farm_id", "user_account.id"],
            name=op.f("fk_mixed_fit_farm_id_asked_by"),
        ),
        sa.ForeignKeyConstraint(["farm_id"], ["farm.id"], name=op.f("fk_mixed_fit_farm_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_mixed_fit")),
        sa.UniqueConstraint("farm_id", "id", name=op.f("uq_mixed_fit_farm_id_id")),
        sqlite_autoincrement=True,
    )
    op.create_index(
        op.f("ix_mixed_fit_farm_id_season_kind_stage"),
        "mixed_fit",
        ["farm_id", "season", "kind", "stage"],
        unique=False,
    )
    op.create_table(
        "training_event",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("farm_id", sa.Integer(), nullable=False),
        sa.Column("worker_id", sa.Integer(), nullable=False),
        sa.Column("stage", sa.String(length=15), nullable=False),
        sa.Column("kind", sa.String(length=19), nullable=False),
        sa.Column("held_on", sa.Date(), nullable=False),
        sa.Column("noted_at", sa.DateTime(), nullable=False),
        sa.Column("noted_by", sa.Integer(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["farm_id", "noted_by"],
            ["user_account.farm_id", "user_account.id"],
            name=op.f("fk_training_event_farm_id_noted_by"),
        ),
        sa.ForeignKeyConstraint(
            ["farm_id", "worker_id"],
            ["worker.farm_id", "worker.id"],
            name=op.f("fk_training_event_farm_id_worker_id"),
        ),
        sa.ForeignKeyConstraint(["farm_id"], ["farm.id"], name=op.f("fk_training_event_farm_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_training_event")),
        sa.UniqueConstraint("farm_id", "id", name=op.f("uq_training_event_farm_id_id")),
        sqlite_autoincrement=True,
    )
    op.create_index(
        op.f("ix_training_event_farm_id_worker_id"),
        "training_event",
        ["farm_id", "worker_id"],
        unique=False,
    )
    op.create_table(
        "stage_learning",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("farm_id", sa.Integer(), nullable=False),
        sa.Column("worker_id", sa.Integer(), nullable=False),
        sa.Column("stage", sa.String(length=15), nullable=False),
        sa.Column("begun_on", sa.Date(), nullable=False),
        sa.Column("begun_by", sa.Integer(), nullable=False),
        sa.Column("signed_off_at", sa.DateTime(), nullable=True),
        sa.Column("signed_off_by", sa.Integer(), nullable=True),
        sa.Column("trees", sa.Integer(), nullable=True),
        sa.Column("nonconforming", sa.Integer(), nullable=True),
        sa.Column("standard_version_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(
            ["farm_id", "begun_by"],
            ["user_account.farm_id", "user_account.id"],
            name=op.f("fk_stage_learning_farm_id_begun_by"),
        ),
        sa.ForeignKeyConstraint(
            ["farm_id", "signed_off_by"],
            ["user_account.farm_id", "user_account.id"],
            name=op.f("fk_stage_learning_farm_id_signed_off_by"),
        ),
        sa.ForeignKeyConstraint(
            ["farm_id", "standard_version_id"],
            ["standard_version.farm_id", "standard_version.id"],
            name=op.f("fk_stage_learning_farm_id_standard_version_id"),
        ),
        sa.ForeignKeyConstraint(
            ["farm_id", "worker_id"],
            ["worker.farm_id", "worker.id"],
            name=op.f("fk_stage_learning_farm_id_worker_id"),
        ),
        sa.ForeignKeyConstraint(["farm_id"], ["farm.id"], name=op.f("fk_stage_learning_farm_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_stage_learning")),
        sa.UniqueConstraint("farm_id", "id", name=op.f("uq_stage_learning_farm_id_id")),
        sa.UniqueConstraint(
            "farm_id", "worker_id", "stage", name=op.f("uq_stage_learning_farm_id_worker_id_stage")
        ),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "calibration",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("farm_id", sa.Integer(), nullable=False),
        sa.Column("draw_id", sa.Integer(), nullable=False),
        sa.Column("reference_id", sa.Integer(), nullable=True),
        sa.Column("opened_at", sa.DateTime(), nullable=False),
        sa.Column("closed_at", sa.DateTime(), nullable=True),
        sa.ForeignKeyConstraint(
            ["farm_id", "draw_id"],
            ["draw.farm_id", "draw.id"],
            name=op.f("fk_calibration_farm_id_draw_id"),
        ),
        sa.ForeignKeyConstraint(
            ["farm_id", "reference_id"],
            ["user_account.farm_id", "user_account.id"],
            name=op.f("fk_calibration_farm_id_reference_id"),
        ),
        sa.ForeignKeyConstraint(["farm_id"], ["farm.id"], name=op.f("fk_calibration_farm_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_calibration")),
        sa.UniqueConstraint("farm_id", "draw_id", name=op.f("uq_calibration_farm_id_draw_id")),
        sa.UniqueConstraint("farm_id", "id", name=op.f("uq_calibration_farm_id_id")),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "contest",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("farm_id", sa.Integer(), nullable=False),
        sa.Column("audit_id", sa.Integer(), nullable=False),
        sa.Column("draw_tree_id", sa.Integer(), nullable=False),
        sa.Column("stage", sa.String(length=15), nullable=False),
        sa.Column("worker_id", sa.Integer(), nullable=False),
        sa.Column("raised_at", sa.DateTime(), nullable=False),
        sa.Column("raised_by", sa.Integer(), nullable=False),
        sa.Column("words", sa.Text(), nullable=False),
        sa.Column("answered_at", sa.DateTime(), nullable=True),
        sa.Column("answered_by", sa.Integer(), nullable=True),
        sa.Column("answer", sa.String(length=15), nullable=True),
        sa.Column("reason", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(
            ["farm_id", "answered_by"],
            ["user_account.farm_id", "user_account.id"],
            name=op.f("fk_contest_farm_id_answered_by"),
        ),
        sa.ForeignKeyConstraint(
            ["farm_id", "audit_id"],
            ["audit.farm_id", "audit.id"],
            name=op.f("fk_contest_farm_id_audit_id"),
        ),
        sa.ForeignKeyConstraint(
            ["farm_id", "draw_tree_id"],
            ["draw_tree.farm_id", "draw_tree.id"],
            name=op.f("fk_contest_farm_id_draw_tree_id"),
        ),
        sa.ForeignKeyConstraint(
            ["farm_id", "raised_by"],
            ["user_account.farm_id", "user_account.id"],
            name=op.f("fk_contest_farm_id_raised_by"),
        ),
        sa.ForeignKeyConstraint(
            ["farm_id", "worker_id"],
            ["worker.farm_id", "worker.id"],
            name=op.f("fk_contest_farm_id_worker_id"),
        ),
        sa.ForeignKeyConstraint(["farm_id"], ["farm.id"], name=op.f("fk_contest_farm_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_contest")),
        sa.UniqueConstraint("farm_id", "id", name=op.f("uq_contest_farm_id_id")),
        sqlite_autoincrement=True,
    )
    op.create_index(
        op.f("ix_contest_farm_id_worker_id"), "contest", ["farm_id", "worker_id"], unique=False
    )
    op.create_index(
        "uq_contest_open",
        "contest",
        ["farm_id", "audit_id", "draw_tree_id", "stage"],
        unique=True,
        sqlite_where=sa.text("answered_at is null"),
        postgresql_where=sa.text("answered_at is null"),
    )
    op.create_table(
        "double_check",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("farm_id", sa.Integer(), nullable=False),
        sa.Column("draw_id", sa.Integer(), nullable=False),
        sa.Column("audit_id", sa.Integer(), nullable=False),
        sa.Column("chosen_at", sa.DateTime(), nullable=False),
        sa.Column("check_audit_id", sa.Integer(), nullable=True),
        sa.Column("waived_at", sa.DateTime(), nullable=True),
        sa.Column("waived_by", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(
            ["farm_id", "audit_id"],
            ["audit.farm_id", "audit.id"],
            name=op.f("fk_double_check_farm_id_audit_id"),
        ),
        sa.ForeignKeyConstraint(
            ["farm_id", "check_audit_id"],
            ["audit.farm_id", "audit.id"],
            name=op.f("fk_double_check_farm_id_check_audit_id"),
        ),
        sa.ForeignKeyConstraint(
            ["farm_id", "draw_id"],
            ["draw.farm_id", "draw.id"],
            name=op.f("fk_double_check_farm_id_draw_id"),
        ),
        sa.ForeignKeyConstraint(
            ["farm_id", "waived_by"],
            ["user_account.farm_id", "user_account.id"],
            name=op.f("fk_double_check_farm_id_waived_by"),
        ),
        sa.ForeignKeyConstraint(["farm_id"], ["farm.id"], name=op.f("fk_double_check_farm_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_double_check")),
        sa.UniqueConstraint("farm_id", "draw_id", name=op.f("uq_double_check_farm_id_draw_id")),
        sa.UniqueConstraint("farm_id", "id", name=op.f("uq_double_check_farm_id_id")),
        sqlite_autoincrement=True,
    )
    op.add_column(
        "stage_score", sa.Column("measured_mm", sa.JSON(none_as_null=True), nullable=True)
    )
    _copy_what_was_measured()


def _copy_what_was_measured() -> None:
    """Take heights and diameters out of the answers, so that a chart needs no answers."""
    connection = op.get_bind()
    stage_score = sa.table(
        "stage_score",
        sa.column("id", sa.Integer),
        sa.column("farm_id", sa.Integer),
        sa.column("tree_score_id", sa.Integer),
        sa.column("stage", sa.String),
        sa.column("measured_mm", sa.JSON(none_as_null=True)),
    )
    tree_score = sa.table(
        "tree_score",
        sa.column("id", sa.Integer),
        sa.column("farm_id", sa.Integer),
        sa.column("answers", sa.JSON),
    )
    scores = connection.execute(
        sa.select(stage_score.c.id, stage_score.c.stage, tree_score.c.answers)
        .join(
            tree_score,
            sa.and_(
                tree_score.c.farm_id == stage_score.c.farm_id,
                tree_score.c.id == stage_score.c.tree_score_id,
            ),
        )
        .where(stage_score.c.stage.in_(("top", "heading")))
    ).all()
    found = [
        {"score": score_id, "lengths": lengths}
        for score_id, stage, answers in scores
        if (lengths := _lengths(stage, answers))
    ]
    if found:
        connection.execute(
            stage_score.update()
            .where(stage_score.c.id == sa.bindparam("score"))
            .values(measured_mm=sa.bindparam("lengths")),
            found,
        )


def _lengths(stage: str, answers: Mapping[str, Any]) -> list[float]:
    missed = answers.get("missed")
    if missed == "tree" or (missed == "side" and stage == "heading"):
        return []
    answer = (answers.get("stages") or {}).get(stage) or {}
    if answer.get("kind") == "top":
        return [answer["height_mm"]]
    if answer.get("kind") == "heading":
        return list(answer.get("diameters_mm") or ())
    return []
