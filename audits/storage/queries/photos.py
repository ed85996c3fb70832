"""Photos that phones sent with their audits."""

from dataclasses import dataclass
from datetime import datetime

import sqlalchemy as sa

from audits.storage.queries.fetch import columns_of, fetch_all, fetch_one
from audits.storage.tables import draw_tree, photo
from audits.vocabulary import Stage


@dataclass(frozen=True)
class PhotoRow:
    """A photo without its content, and the tree that it shows."""

    id: int
    audit_id: int
    draw_tree_id: int
    stage: Stage | None
    device_at: datetime | None
    received_at: datetime


def photos_of_audit(connection: sa.Connection, farm_id: int, audit_id: int) -> list[PhotoRow]:
    """Return the photos of an audit without their content, tree by tree in walking order."""
    return fetch_all(
        connection,
        sa.select(*columns_of(photo, PhotoRow))
        .join(
            draw_tree,
            sa.and_(draw_tree.c.farm_id == photo.c.farm_id, draw_tree.c.id == photo.c.draw_tree_id),
        )
        .where(photo.c.farm_id == farm_id, photo.c.audit_id == audit_id)
        .order_by(draw_tree.c.orchard_row_id, draw_tree.c.position, photo.c.id),
        PhotoRow,
    )


def photo_by_client_id(connection: sa.Connection, farm_id: int, client_id: str) -> PhotoRow | None:
    """Return the photo that a phone sent under an id of its own."""
    return fetch_one(
        connection,
        sa.select(*columns_of(photo, PhotoRow)).where(
            photo.c.farm_id == farm_id, photo.c.client_id == client_id
        ),
        PhotoRow,
    )


def photo_content(
    connection: sa.Connection, farm_id: int, audit_id: int, photo_id: int
) -> bytes | None:
    """Return the JPEG of one photo of an audit."""
    return connection.scalar(
        sa.select(photo.c.content).where(
            photo.c.farm_id == farm_id, photo.c.audit_id == audit_id, photo.c.id == photo_id
        )
    )
