"""Lots chosen for an audit, and causes of bad work put right.

A landed migration is never edited and imports nothing from the application: what it needs to know
of a table stands here, as it was on that day. Try it on tables with rows in them.

Every lot finished before this was to be audited, which is what the defaults say of it.
"""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column(
        "lot",
        sa.Column("effort", sa.String(length=20), nullable=False, server_default="every_lot"),
    )
    op.add_column(
        "lot", sa.Column("chosen", sa.Boolean(), nullable=False, server_default=sa.true())
    )
    op.add_column("pass_row", sa.Column("chance", sa.Float(), nullable=True))
    op.create_table(
        "cause_removed",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("farm_id", sa.Integer(), nullable=False),
        sa.Column("crew_id", sa.Integer(), nullable=False),
        sa.Column("block_id", sa.Integer(), nullable=False),
        sa.Column("stage", sa.String(length=15), nullable=False),
        sa.Column("noted_at", sa.DateTime(), nullable=False),
        sa.Column("noted_by", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["farm_id", "block_id"],
            ["block.farm_id", "block.id"],
            name=op.f("fk_cause_removed_farm_id_block_id"),
        ),
        sa.ForeignKeyConstraint(
            ["farm_id", "crew_id"],
            ["crew.farm_id", "crew.id"],
            name=op.f("fk_cause_removed_farm_id_crew_id"),
        ),
        sa.ForeignKeyConstraint(
            ["farm_id", "noted_by"],
            ["user_account.farm_id", "user_account.id"],
            name=op.f("fk_cause_removed_farm_id_noted_by"),
        ),
        sa.ForeignKeyConstraint(["farm_id"], ["farm.id"], name=op.f("fk_cause_removed_farm_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_cause_removed")),
        sa.UniqueConstraint("farm_id", "id", name=op.f("uq_cause_removed_farm_id_id")),
        sqlite_autoincrement=True,
    )
    op.create_index(
        op.f("ix_cause_removed_farm_id_crew_id_block_id"),
        "cause_removed",
        ["farm_id", "crew_id", "block_id"],
    )
