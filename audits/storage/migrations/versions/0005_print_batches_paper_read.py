"""Print batches, printers, and paper read back.

A landed migration is never edited and imports nothing from the application: what it needs to know
of a table stands here, as it was on that day. Try it on tables with rows in them.
"""

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "printer",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("farm_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("turned_over", sa.String(length=18), nullable=False),
        sa.Column("back_right_mm", sa.Float(), nullable=False),
        sa.Column("back_down_mm", sa.Float(), nullable=False),
        sa.Column("retired", sa.Boolean(), nullable=False),
        sa.ForeignKeyConstraint(["farm_id"], ["farm.id"], name=op.f("fk_printer_farm_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_printer")),
        sa.UniqueConstraint("farm_id", "id", name=op.f("uq_printer_farm_id_id")),
        sa.UniqueConstraint("farm_id", "name", name=op.f("uq_printer_farm_id_name")),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "print_batch",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("farm_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(length=14), nullable=False),
        sa.Column("block_id", sa.Integer(), nullable=False),
        sa.Column("standard_version_id", sa.Integer(), nullable=False),
        sa.Column("printer_id", sa.Integer(), nullable=True),
        sa.Column("choices", sa.JSON(), nullable=False),
        sa.Column("copies", sa.Integer(), nullable=False),
        sa.Column("made_at", sa.DateTime(), nullable=False),
        sa.Column("made_by", sa.Integer(), nullable=True),
        sa.Column("withdrawn_at", sa.DateTime(), nullable=True),
        sa.ForeignKeyConstraint(
            ["farm_id", "block_id"],
            ["block.farm_id", "block.id"],
            name=op.f("fk_print_batch_farm_id_block_id"),
        ),
        sa.ForeignKeyConstraint(
            ["farm_id", "made_by"],
            ["user_account.farm_id", "user_account.id"],
            name=op.f("fk_print_batch_farm_id_made_by"),
        ),
        sa.ForeignKeyConstraint(
            ["farm_id", "printer_id"],
            ["printer.farm_id", "printer.id"],
            name=op.f("fk_print_batch_farm_id_printer_id"),
        ),
        sa.ForeignKeyConstraint(
            ["farm_id", "standard_version_id"],
            ["standard_version.farm_id", "standard_version.id"],
            name=op.f("fk_print_batch_farm_id_standard_version_id"),
        ),
        sa.ForeignKeyConstraint(["farm_id"], ["farm.id"], name=op.f("fk_print_batch_farm_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_print_batch")),
        sa.UniqueConstraint("farm_id", "id", name=op.f("uq_print_batch_farm_id_id")),
        sa.UniqueConstraint("farm_id", "number", name=op.f("uq_print_batch_farm_id_number")),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "quiz_attempt",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("farm_id", sa.Integer(), nullable=False),
        sa.Column("worker_id", sa.Integer(), nullable=False),
        sa.Column("standard_version_id", sa.Integer(), nullable=False),
        sa.Column("seed", sa.BigInteger(), nullable=False),
        sa.Column("variant", sa.String(length=1), nullable=False),
        sa.Column("method", sa.String(length=22), nullable=False),
        sa.Column("language", sa.String(length=5), nullable=False),
        sa.Column("answers", sa.JSON(), nullable=False),
        sa.Column("questions", sa.Integer(), nullable=False),
        sa.Column("correct", sa.Integer(), nullable=False),
        sa.Column("taken_on", sa.Date(), nullable=False),
        sa.Column("recorded_at", sa.DateTime(), nullable=False),
        sa.Column("recorded_by", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["farm_id", "recorded_by"],
            ["user_account.farm_id", "user_account.id"],
            name=op.f("fk_quiz_attempt_farm_id_recorded_by"),
        ),
        sa.ForeignKeyConstraint(
            ["farm_id", "standard_version_id"],
            ["standard_version.farm_id", "standard_version.id"],
            name=op.f("fk_quiz_attempt_farm_id_standard_version_id"),
        ),
        sa.ForeignKeyConstraint(
            ["farm_id", "worker_id"],
            ["worker.farm_id", "worker.id"],
            name=op.f("fk_quiz_attempt_farm_id_worker_id"),
        ),
        sa.ForeignKeyConstraint(["farm_id"], ["farm.id"], name=op.f("fk_quiz_attempt_farm_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_quiz_attempt")),
        sa.UniqueConstraint("farm_id", "id", name=op.f("uq_quiz_attempt_farm_id_id")),
        sqlite_autoincrement=True,
    )
    op.create_index(
        op.f("ix_quiz_attempt_farm_id_worker_id"),
        "quiz_attempt",
        ["farm_id", "worker_id"],
        unique=False,
    )
    op.create_table(
        "print_check",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("farm_id", sa.Integer(), nullable=False),
        sa.Column("print_batch_id", sa.Integer(), nullable=False),
        sa.Column("occasion", sa.String(length=18), nullable=False),
        sa.Column("checked_at", sa.DateTime(), nullable=False),
        sa.Column("checked_by", sa.Integer(), nullable=False),
        sa.Column("card_fits", sa.Boolean(), nullable=False),
        sa.Column("across_mm", sa.Float(), nullable=True),
        sa.Column("down_mm", sa.Float(), nullable=True),
        sa.Column("passed", sa.Boolean(), nullable=False),
        sa.ForeignKeyConstraint(
            ["farm_id", "checked_by"],
            ["user_account.farm_id", "user_account.id"],
            name=op.f("fk_print_check_farm_id_checked_by"),
        ),
        sa.ForeignKeyConstraint(
            ["farm_id", "print_batch_id"],
            ["print_batch.farm_id", "print_batch.id"],
            name=op.f("fk_print_check_farm_id_print_batch_id"),
        ),
        sa.ForeignKeyConstraint(["farm_id"], ["farm.id"], name=op.f("fk_print_check_farm_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_print_check")),
        sa.UniqueConstraint("farm_id", "id", name=op.f("uq_print_check_farm_id_id")),
        sqlite_autoincrement=True,
    )
    op.create_index(
        op.f("ix_print_check_farm_id_print_batch_id"),
        "print_check",
        ["farm_id", "print_batch_id"],
        unique=False,
    )
    op.create_table(
        "sheet_photo",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("farm_id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(length=15), nullable=False),
        sa.Column("code", sa.Text(), nullable=False),
        sa.Column("audit_id", sa.Integer(), nullable=True),
        sa.Column("quiz_attempt_id", sa.Integer(), nullable=True),
        sa.Column("content", sa.LargeBinary(), nullable=False),
        sa.Column("content_hash", sa.String(length=64), nullable=False),
        sa.Column("reading", sa.JSON(), nullable=False),
        sa.Column("received_at", sa.DateTime(), nullable=False),
        sa.Column("received_by", sa.Integer(), nullable=False),
        sa.Column("settled_at", sa.DateTime(), nullable=True),
        sa.ForeignKeyConstraint(
            ["farm_id", "audit_id"],
            ["audit.farm_id", "audit.id"],
            name=op.f("fk_sheet_photo_farm_id_audit_id"),
        ),
        sa.ForeignKeyConstraint(
            ["farm_id", "quiz_attempt_id"],
            ["quiz_attempt.farm_id", "quiz_attempt.id"],
            name=op.f("fk_sheet_photo_farm_id_quiz_attempt_id"),
        ),
        sa.ForeignKeyConstraint(
            ["farm_id", "received_by"],
            ["user_account.farm_id", "user_account.id"],
            name=op.f("fk_sheet_photo_farm_id_received_by"),
        ),
        sa.ForeignKeyConstraint(["farm_id"], ["farm.id"], name=op.f("fk_sheet_photo_farm_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_sheet_photo")),
        sa.UniqueConstraint(
            "farm_id", "content_hash", name=op.f("uq_sheet_photo_farm_id_content_hash")
        ),
        sa.UniqueConstraint("farm_id", "id", name=op.f("uq_sheet_photo_farm_id_id")),
        sqlite_autoincrement=True,
    )
    op.create_index(
        op.f("ix_sheet_photo_farm_id_audit_id"),
        "sheet_photo",
        ["farm_id", "audit_id"],
        unique=False,
    )
