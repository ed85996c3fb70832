"""${message}.

A landed migration is never edited and imports nothing from the application: what it needs to know
of a table stands here, as it was on that day. Try it on tables with rows in them.
"""

import sqlalchemy as sa
from alembic import op
${imports if imports else ""}
revision = ${repr(up_revision)}
down_revision = ${repr(down_revision)}
branch_labels = None
depends_on = None


def upgrade() -> None:
    ${upgrades if upgrades else "pass"}
