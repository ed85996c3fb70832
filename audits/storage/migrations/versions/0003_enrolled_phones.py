"""Enrolled phones, what they send, and walks that belong to one audit.

A landed migration is never edited and imports nothing from the application: what it needs to know
of a table stands here, as it was on that day. Try it on tables with rows in them.
"""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "device",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("farm_id", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(length=36), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("user_account_id", sa.Integer(), nullable=False),
        sa.Column("public_key", sa.JSON(), nullable=False),
        sa.Column("pin_hash", sa.Text(), nullable=False),
        sa.Column("pin_failures", sa.Integer(), nullable=False),
        sa.Column("enrolled_at", sa.DateTime(), nullable=False),
        sa.Column("enrolled_by", sa.Integer(), nullable=False),
        sa.Column("seen_at", sa.DateTime(), nullable=True),
        sa.Column("clock_ahead_ms", sa.BigInteger(), nullable=True),
        sa.Column("revoked_at", sa.DateTime(), nullable=True),
        sa.Column("revoked_by", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(
            ["farm_id", "enrolled_by"],
            ["user_account.farm_id", "user_account.id"],
            name=op.f("fk_device_farm_id_enrolled_by"),
        ),
        sa.ForeignKeyConstraint(
            ["farm_id", "revoked_by"],
            ["user_account.farm_id", "user_account.id"],
            name=op.f("fk_device_farm_id_revoked_by"),
        ),
        sa.ForeignKeyConstraint(
            ["farm_id", "user_account_id"],
            ["user_account.farm_id", "user_account.id"],
            name=op.f("fk_device_farm_id_user_account_id"),
        ),
        sa.ForeignKeyConstraint(["farm_id"], ["farm.id"], name=op.f("fk_device_farm_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_device")),
        sa.UniqueConstraint("farm_id", "id", name=op.f("uq_device_farm_id_id")),
        sa.UniqueConstraint("farm_id", "uid", name=op.f("uq_device_farm_id_uid")),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "enrolment",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("farm_id", sa.Integer(), nullable=False),
        sa.Column("token_hash", sa.String(length=64), nullable=False),
        sa.Column("user_account_id", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(), nullable=False),
        sa.Column("created_by", sa.Integer(), nullable=False),
        sa.Column("expires_at", sa.DateTime(), nullable=False),
        sa.Column("used_at", sa.DateTime(), nullable=True),
        sa.ForeignKeyConstraint(
            ["farm_id", "created_by"],
            ["user_account.farm_id", "user_account.id"],
            name=op.f("fk_enrolment_farm_id_created_by"),
        ),
        sa.ForeignKeyConstraint(
            ["farm_id", "user_account_id"],
            ["user_account.farm_id", "user_account.id"],
            name=op.f("fk_enrolment_farm_id_user_account_id"),
        ),
        sa.ForeignKeyConstraint(["farm_id"], ["farm.id"], name=op.f("fk_enrolment_farm_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_enrolment")),
        sa.UniqueConstraint("farm_id", "id", name=op.f("uq_enrolment_farm_id_id")),
        sa.UniqueConstraint("farm_id", "token_hash", name=op.f("uq_enrolment_farm_id_token_hash")),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "receipt",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("farm_id", sa.Integer(), nullable=False),
        sa.Column("client_id", sa.String(length=64), nullable=False),
        sa.Column("device_id", sa.Integer(), nullable=True),
        sa.Column("device_counter", sa.Integer(), nullable=True),
        sa.Column("audit_client_id", sa.String(length=36), nullable=True),
        sa.Column("body", sa.Text(), nullable=False),
        sa.Column("body_hash", sa.String(length=64), nullable=False),
        sa.Column("device_at", sa.DateTime(), nullable=True),
        sa.Column("received_at", sa.DateTime(), nullable=False),
        sa.Column("state", sa.String(length=17), nullable=False),
        sa.Column("held_because", sa.String(length=24), nullable=True),
        sa.Column("held_against", sa.JSON(), nullable=True),
        sa.Column("settled_at", sa.DateTime(), nullable=True),
        sa.Column("settled_by", sa.Integer(), nullable=True),
        sa.Column("settled_reason", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(
            ["farm_id", "device_id"],
            ["device.farm_id", "device.id"],
            name=op.f("fk_receipt_farm_id_device_id"),
        ),
        sa.ForeignKeyConstraint(
            ["farm_id", "settled_by"],
            ["user_account.farm_id", "user_account.id"],
            name=op.f("fk_receipt_farm_id_settled_by"),
        ),
        sa.ForeignKeyConstraint(["farm_id"], ["farm.id"], name=op.f("fk_receipt_farm_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_receipt")),
        sa.UniqueConstraint(
            "farm_id", "client_id", "body_hash", name=op.f("uq_receipt_farm_id_client_id_body_hash")
        ),
        sa.UniqueConstraint("farm_id", "id", name=op.f("uq_receipt_farm_id_id")),
        sqlite_autoincrement=True,
    )
    op.create_index(
        op.f("ix_receipt_farm_id_audit_client_id"),
        "receipt",
        ["farm_id", "audit_client_id"],
        unique=False,
    )
    op.create_index(
        op.f("ix_receipt_farm_id_device_id_device_counter"),
        "receipt",
        ["farm_id", "device_id", "device_counter"],
        unique=False,
    )
    op.create_index(op.f("ix_receipt_farm_id_state"), "receipt", ["farm_id", "state"], unique=False)
    op.create_table(
        "photo",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("farm_id", sa.Integer(), nullable=False),
        sa.Column("client_id", sa.String(length=36), nullable=False),
        sa.Column("audit_id", sa.Integer(), nullable=False),
        sa.Column("draw_tree_id", sa.Integer(), nullable=False),
        sa.Column("stage", sa.String(length=15), nullable=True),
        sa.Column("content", sa.LargeBinary(), nullable=False),
        sa.Column("content_hash", sa.String(length=64), nullable=False),
        sa.Column("device_at", sa.DateTime(), nullable=True),
        sa.Column("received_at", sa.DateTime(), nullable=False),
        sa.ForeignKeyConstraint(
            ["farm_id", "audit_id"],
            ["audit.farm_id", "audit.id"],
            name=op.f("fk_photo_farm_id_audit_id"),
        ),
        sa.ForeignKeyConstraint(
            ["farm_id", "draw_tree_id"],
            ["draw_tree.farm_id", "draw_tree.id"],
            name=op.f("fk_photo_farm_id_draw_tree_id"),
        ),
        sa.ForeignKeyConstraint(["farm_id"], ["farm.id"], name=op.f("fk_photo_farm_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_photo")),
        sa.UniqueConstraint("farm_id", "client_id", name=op.f("uq_photo_farm_id_client_id")),
        sa.UniqueConstraint("farm_id", "id", name=op.f("uq_photo_farm_id_id")),
        sqlite_autoincrement=True,
    )
    op.create_index(
        op.f("ix_photo_farm_id_audit_id"), "photo", ["farm_id", "audit_id"], unique=False
    )
    op.create_table(
        "replacement",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("farm_id", sa.Integer(), nullable=False),
        sa.Column("audit_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("draw_tree_id", sa.Integer(), nullable=False),
        sa.Column("found_kind", sa.String(length=22), nullable=False),
        sa.Column("instead_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["farm_id", "audit_id"],
            ["audit.farm_id", "audit.id"],
            name=op.f("fk_replacement_farm_id_audit_id"),
        ),
        sa.ForeignKeyConstraint(
            ["farm_id", "draw_tree_id"],
            ["draw_tree.farm_id", "draw_tree.id"],
            name=op.f("fk_replacement_farm_id_draw_tree_id"),
        ),
        sa.ForeignKeyConstraint(
            ["farm_id", "instead_id"],
            ["draw_tree.farm_id", "draw_tree.id"],
            name=op.f("fk_replacement_farm_id_instead_id"),
        ),
        sa.ForeignKeyConstraint(["farm_id"], ["farm.id"], name=op.f("fk_replacement_farm_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_replacement")),
        sa.UniqueConstraint(
            "farm_id",
            "audit_id",
            "draw_tree_id",
            name=op.f("uq_replacement_farm_id_audit_id_draw_tree_id"),
        ),
        sa.UniqueConstraint(
            "farm_id",
            "audit_id",
            "instead_id",
            name=op.f("uq_replacement_farm_id_audit_id_instead_id"),
        ),
        sa.UniqueConstraint(
            "farm_id", "audit_id", "number", name=op.f("uq_replacement_farm_id_audit_id_number")
        ),
        sa.UniqueConstraint("farm_id", "id", name=op.f("uq_replacement_farm_id_id")),
        sqlite_autoincrement=True,
    )
    # SQLite adds a foreign key only by writing the table anew, which keeps its rows.
    with op.batch_alter_table(
        "user_session", table_kwargs={"sqlite_autoincrement": True}
    ) as user_session:
        user_session.add_column(sa.Column("device_id", sa.Integer(), nullable=True))
        user_session.create_foreign_key(
            op.f("fk_user_session_farm_id_device_id"),
            "device",
            ["farm_id", "device_id"],
            ["farm_id", "id"],
        )
    op.create_table(
        "ahead_draw",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("farm_id", sa.Integer(), nullable=False),
        sa.Column("draw_id", sa.Integer(), nullable=False),
        sa.Column("pass_row_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["farm_id", "draw_id"],
            ["draw.farm_id", "draw.id"],
            name=op.f("fk_ahead_draw_farm_id_draw_id"),
        ),
        sa.ForeignKeyConstraint(
            ["farm_id", "pass_row_id"],
            ["pass_row.farm_id", "pass_row.id"],
            name=op.f("fk_ahead_draw_farm_id_pass_row_id"),
        ),
        sa.ForeignKeyConstraint(["farm_id"], ["farm.id"], name=op.f("fk_ahead_draw_farm_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_ahead_draw")),
        sa.UniqueConstraint("farm_id", "draw_id", name=op.f("uq_ahead_draw_farm_id_draw_id")),
        sa.UniqueConstraint("farm_id", "id", name=op.f("uq_ahead_draw_farm_id_id")),
        sqlite_autoincrement=True,
    )
    op.create_index(
        op.f("ix_ahead_draw_farm_id_pass_row_id"), "ahead_draw", ["farm_id", "pass_row_id"]
    )
