"""Quizzes on screen and by item, practice trees, safety briefs.

A landed migration is never edited and imports nothing from the application: what it needs to know
of a table stands here, as it was on that day. Try it on tables with rows in them.
"""

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "retired_item",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("farm_id", sa.Integer(), nullable=False),
        sa.Column("item", sa.String(length=40), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("retired_at", sa.DateTime(), nullable=False),
        sa.Column("retired_by", sa.Integer(), nullable=False),
        sa.Column("restored_at", sa.DateTime(), nullable=True),
        sa.Column("restored_by", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(
            ["farm_id", "restored_by"],
            ["user_account.farm_id", "user_account.id"],
            name=op.f("fk_retired_item_farm_id_restored_by"),
        ),
        sa.ForeignKeyConstraint(
            ["farm_id", "retired_by"],
            ["user_account.farm_id", "user_account.id"],
            name=op.f("fk_retired_item_farm_id_retired_by"),
        ),
        sa.ForeignKeyConstraint(["farm_id"], ["farm.id"], name=op.f("fk_retired_item_farm_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_retired_item")),
        sa.UniqueConstraint("farm_id", "id", name=op.f("uq_retired_item_farm_id_id")),
        sqlite_autoincrement=True,
    )
    op.create_index(
        op.f("ix_retired_item_farm_id_item"), "retired_item", ["farm_id", "item"], unique=False
    )
    op.create_table(
        "safety_briefing",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("farm_id", sa.Integer(), nullable=False),
        sa.Column("worker_id", sa.Integer(), nullable=False),
        sa.Column("method", sa.String(length=22), nullable=False),
        sa.Column("language", sa.String(length=5), nullable=False),
        sa.Column("held_on", sa.Date(), nullable=False),
        sa.Column("holds_until", sa.Date(), nullable=False),
        sa.Column("noted_at", sa.DateTime(), nullable=False),
        sa.Column("noted_by", sa.Integer(), nullable=False),
        sa.Column("withdrawn_at", sa.DateTime(), nullable=True),
        sa.Column("withdrawn_by", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(
            ["farm_id", "noted_by"],
            ["user_account.farm_id", "user_account.id"],
            name=op.f("fk_safety_briefing_farm_id_noted_by"),
        ),
        sa.ForeignKeyConstraint(
            ["farm_id", "withdrawn_by"],
            ["user_account.farm_id", "user_account.id"],
            name=op.f("fk_safety_briefing_farm_id_withdrawn_by"),
        ),
        sa.ForeignKeyConstraint(
            ["farm_id", "worker_id"],
            ["worker.farm_id", "worker.id"],
            name=op.f("fk_safety_briefing_farm_id_worker_id"),
        ),
        sa.ForeignKeyConstraint(["farm_id"], ["farm.id"], name=op.f("fk_safety_briefing_farm_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_safety_briefing")),
        sa.UniqueConstraint("farm_id", "id", name=op.f("uq_safety_briefing_farm_id_id")),
        sqlite_autoincrement=True,
    )
    op.create_index(
        op.f("ix_safety_briefing_farm_id_worker_id"),
        "safety_briefing",
        ["farm_id", "worker_id"],
        unique=False,
    )
    op.create_table(
        "exercise_result",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("farm_id", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(length=36), nullable=False),
        sa.Column("worker_id", sa.Integer(), nullable=False),
        sa.Column("standard_version_id", sa.Integer(), nullable=False),
        sa.Column("item", sa.String(length=40), nullable=False),
        sa.Column("stage", sa.String(length=15), nullable=True),
        sa.Column("choice", sa.String(length=40), nullable=False),
        sa.Column("is_right", sa.Boolean(), nullable=False),
        sa.Column("language", sa.String(length=5), nullable=False),
        sa.Column("done_at", sa.DateTime(), nullable=False),
        sa.Column("recorded_at", sa.DateTime(), nullable=False),
        sa.Column("recorded_by", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["farm_id", "recorded_by"],
            ["user_account.farm_id", "user_account.id"],
            name=op.f("fk_exercise_result_farm_id_recorded_by"),
        ),
        sa.ForeignKeyConstraint(
            ["farm_id", "standard_version_id"],
            ["standard_version.farm_id", "standard_version.id"],
            name=op.f("fk_exercise_result_farm_id_standard_version_id"),
        ),
        sa.ForeignKeyConstraint(
            ["farm_id", "worker_id"],
            ["worker.farm_id", "worker.id"],
            name=op.f("fk_exercise_result_farm_id_worker_id"),
        ),
        sa.ForeignKeyConstraint(["farm_id"], ["farm.id"], name=op.f("fk_exercise_result_farm_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_exercise_result")),
        sa.UniqueConstraint("farm_id", "id", name=op.f("uq_exercise_result_farm_id_id")),
        sa.UniqueConstraint("farm_id", "uid", name=op.f("uq_exercise_result_farm_id_uid")),
        sqlite_autoincrement=True,
    )
    op.create_index(
        op.f("ix_exercise_result_farm_id_worker_id"),
        "exercise_result",
        ["farm_id", "worker_id"],
        unique=False,
    )
    op.create_table(
        "practice_result",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("farm_id", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(length=36), nullable=False),
        sa.Column("worker_id", sa.Integer(), nullable=False),
        sa.Column("standard_version_id", sa.Integer(), nullable=False),
        sa.Column("method", sa.String(length=22), nullable=False),
        sa.Column("edition", sa.Integer(), nullable=False),
        sa.Column("tree_seed", sa.BigInteger(), nullable=False),
        sa.Column("tree_kind", sa.String(length=22), nullable=False),
        sa.Column("level", sa.String(length=11), nullable=False),
        sa.Column("stages", sa.Text(), nullable=False),
        sa.Column("cuts", sa.JSON(), nullable=False),
        sa.Column("language", sa.String(length=5), nullable=False),
        sa.Column("done_at", sa.DateTime(), nullable=False),
        sa.Column("recorded_at", sa.DateTime(), nullable=False),
        sa.Column("recorded_by", sa.Integer(), nullable=False),
        sa.Column("problem", sa.String(length=40), nullable=True),
        sa.ForeignKeyConstraint(
            ["farm_id", "recorded_by"],
            ["user_account.farm_id", "user_account.id"],
            name=op.f("fk_practice_result_farm_id_recorded_by"),
        ),
        sa.ForeignKeyConstraint(
            ["farm_id", "standard_version_id"],
            ["standard_version.farm_id", "standard_version.id"],
            name=op.f("fk_practice_result_farm_id_standard_version_id"),
        ),
        sa.ForeignKeyConstraint(
            ["farm_id", "worker_id"],
            ["worker.farm_id", "worker.id"],
            name=op.f("fk_practice_result_farm_id_worker_id"),
        ),
        sa.ForeignKeyConstraint(["farm_id"], ["farm.id"], name=op.f("fk_practice_result_farm_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_practice_result")),
        sa.UniqueConstraint("farm_id", "id", name=op.f("uq_practice_result_farm_id_id")),
        sa.UniqueConstraint("farm_id", "uid", name=op.f("uq_practice_result_farm_id_uid")),
        sqlite_autoincrement=True,
    )
    op.create_index(
        op.f("ix_practice_result_farm_id_worker_id"),
        "practice_result",
        ["farm_id", "worker_id"],
        unique=False,
    )
    op.create_table(
        "practice_stage",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("farm_id", sa.Integer(), nullable=False),
        sa.Column("practice_result_id", sa.Integer(), nullable=False),
        sa.Column("stage", sa.String(length=15), nullable=False),
        sa.Column("result", sa.String(length=21), nullable=False),
        sa.Column("faults", sa.Text(), nullable=False),
        sa.Column("points", sa.Float(), nullable=True),
        sa.ForeignKeyConstraint(
            ["farm_id", "practice_result_id"],
            ["practice_result.farm_id", "practice_result.id"],
            name=op.f("fk_practice_stage_farm_id_practice_result_id"),
        ),
        sa.ForeignKeyConstraint(["farm_id"], ["farm.id"], name=op.f("fk_practice_stage_farm_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_practice_stage")),
        sa.UniqueConstraint("farm_id", "id", name=op.f("uq_practice_stage_farm_id_id")),
        sa.UniqueConstraint(
            "farm_id",
            "practice_result_id",
            "stage",
            name=op.f("uq_practice_stage_farm_id_practice_result_id_stage"),
        ),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "quiz_response",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("farm_id", sa.Integer(), nullable=False),
        sa.Column("quiz_attempt_id", sa.Integer(), nullable=False),
        sa.Column("place", sa.Integer(), nullable=False),
        sa.Column("item", sa.String(length=40), nullable=False),
        sa.Column("stage", sa.String(length=15), nullable=True),
        sa.Column("choices", sa.Integer(), nullable=False),
        sa.Column("choice", sa.String(length=40), nullable=True),
        sa.Column("is_right", sa.Boolean(), nullable=False),
        sa.ForeignKeyConstraint(
            ["farm_id", "quiz_attempt_id"],
            ["quiz_attempt.farm_id", "quiz_attempt.id"],
            name=op.f("fk_quiz_response_farm_id_quiz_attempt_id"),
        ),
        sa.ForeignKeyConstraint(["farm_id"], ["farm.id"], name=op.f("fk_quiz_response_farm_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_quiz_response")),
        sa.UniqueConstraint("farm_id", "id", name=op.f("uq_quiz_response_farm_id_id")),
        sa.UniqueConstraint(
            "farm_id",
            "quiz_attempt_id",
            "place",
            name=op.f("uq_quiz_response_farm_id_quiz_attempt_id_place"),
        ),
        sqlite_autoincrement=True,
    )
    op.create_index(
        op.f("ix_quiz_response_farm_id_item"), "quiz_response", ["farm_id", "item"], unique=False
    )
    op.create_table(
        "quiz_sitting",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("farm_id", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(length=32), nullable=False),
        sa.Column("worker_id", sa.Integer(), nullable=False),
        sa.Column("standard_version_id", sa.Integer(), nullable=False),
        sa.Column("seed", sa.BigInteger(), nullable=False),
        sa.Column("variant", sa.String(length=1), nullable=False),
        sa.Column("method", sa.String(length=22), nullable=False),
        sa.Column("language", sa.String(length=5), nullable=False),
        sa.Column("style", sa.String(length=16), nullable=False),
        sa.Column("retired_items", sa.JSON(), nullable=False),
        sa.Column("key_letters", sa.String(length=40), nullable=False),
        sa.Column("answers", sa.JSON(), nullable=False),
        sa.Column("begun_at", sa.DateTime(), nullable=False),
        sa.Column("begun_by", sa.Integer(), nullable=False),
        sa.Column("handed_in_at", sa.DateTime(), nullable=True),
        sa.Column("quiz_attempt_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(
            ["farm_id", "begun_by"],
            ["user_account.farm_id", "user_account.id"],
            name=op.f("fk_quiz_sitting_farm_id_begun_by"),
        ),
        sa.ForeignKeyConstraint(
            ["farm_id", "quiz_attempt_id"],
            ["quiz_attempt.farm_id", "quiz_attempt.id"],
            name=op.f("fk_quiz_sitting_farm_id_quiz_attempt_id"),
        ),
        sa.ForeignKeyConstraint(
            ["farm_id", "standard_version_id"],
            ["standard_version.farm_id", "standard_version.id"],
            name=op.f("fk_quiz_sitting_farm_id_standard_version_id"),
        ),
        sa.ForeignKeyConstraint(
            ["farm_id", "worker_id"],
            ["worker.farm_id", "worker.id"],
            name=op.f("fk_quiz_sitting_farm_id_worker_id"),
        ),
        sa.ForeignKeyConstraint(["farm_id"], ["farm.id"], name=op.f("fk_quiz_sitting_farm_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_quiz_sitting")),
        sa.UniqueConstraint("farm_id", "id", name=op.f("uq_quiz_sitting_farm_id_id")),
        sa.UniqueConstraint("farm_id", "uid", name=op.f("uq_quiz_sitting_farm_id_uid")),
        sqlite_autoincrement=True,
    )
    op.create_index(
        op.f("ix_quiz_sitting_farm_id_worker_id"),
        "quiz_sitting",
        ["farm_id", "worker_id"],
        unique=False,
    )
    op.add_column(
        "farm", sa.Column("quiz_pass_mark", sa.Integer(), server_default="8", nullable=False)
    )
    op.add_column(
        "farm", sa.Column("briefing_days", sa.Integer(), server_default="365", nullable=False)
    )
    op.add_column("quiz_attempt", sa.Column("pass_mark", sa.Integer(), nullable=True))
    op.add_column(
        "quiz_attempt",
        sa.Column("source", sa.String(length=14), server_default="paper", nullable=False),
    )
    op.add_column(
        "quiz_attempt",
        sa.Column("style", sa.String(length=16), server_default="words", nullable=False),
    )
    op.add_column("quiz_attempt", sa.Column("retired_items", sa.JSON(), nullable=True))
    op.add_column(
        "quiz_attempt",
        sa.Column("key_letters", sa.String(length=40), nullable=True),
    )
