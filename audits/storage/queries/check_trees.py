"""Calibration walks, and audits that are made a second time."""

from dataclasses import dataclass
from datetime import datetime

import sqlalchemy as sa

from audits.records import Calibration, DoubleCheck
from audits.storage.queries.fetch import fetch_all, fetch_by, fetch_by_id
from audits.storage.queries.trends import same_farm
from audits.storage.tables import (
    audit,
    block,
    calibration,
    crew,
    crew_pass,
    double_check,
    draw,
    draw_tree,
    lot,
    orchard_row,
    pass_row,
    rework_order,
    user_account,
)
from audits.vocabulary import PassKind


@dataclass(frozen=True)
class WalkLine:
    """A calibration walk for a list."""

    id: int
    draw_id: int
    pass_id: int
    block: str
    crew: str
    reference_id: int | None
    reference: str | None
    opened_at: datetime
    closed_at: datetime | None
    trees: int


@dataclass(frozen=True)
class CheckLine:
    """An audit that was chosen to be made a second time, and what the lot allows."""

    id: int
    draw_id: int
    audit_id: int
    check_audit_id: int | None
    chosen_at: datetime
    waived_at: datetime | None
    waived_by: int | None
    lot_id: int
    lot_number: int
    block: str
    crew: str
    standard_version_id: int
    finished_at: datetime
    auditor_id: int
    auditor: str
    check_auditor_id: int | None
    check_auditor: str | None
    check_sealed_at: datetime | None
    reworked: bool


@dataclass(frozen=True)
class WalkablePass:
    """A pass with finished rows, in which a walk may be opened."""

    id: int
    block: str
    crew: str
    started_at: datetime
    rows_finished: int


def audit_checked_by(connection: sa.Connection, farm_id: int, audit_id: int) -> int | None:
    """Return the first audit whose blind second audit this is."""
    return connection.scalar(
        sa.select(double_check.c.audit_id).where(
            double_check.c.farm_id == farm_id, double_check.c.check_audit_id == audit_id
        )
    )


def check_audit_ids(connection: sa.Connection, farm_id: int, lot_id: int) -> frozenset[int]:
    """Return the blind second audits of a lot."""
    return frozenset(
        connection.scalars(
            sa.select(double_check.c.check_audit_id)
            .join(draw, same_farm(draw, double_check, id="draw_id"))
            .where(
                double_check.c.farm_id == farm_id,
                double_check.c.check_audit_id.is_not(None),
                draw.c.lot_id == lot_id,
            )
        )
    )


def calibration_by_id(
    connection: sa.Connection, farm_id: int, calibration_id: int
) -> Calibration | None:
    """Return one calibration walk."""
    return fetch_by_id(connection, calibration, Calibration, farm_id, calibration_id)


def calibration_of_draw(
    connection: sa.Connection, farm_id: int, draw_id: int
) -> Calibration | None:
    """Return the calibration walk of a draw."""
    return next(
        iter(fetch_by(connection, calibration, Calibration, farm_id, draw_id=draw_id)), None
    )


def has_walk(connection: sa.Connection, farm_id: int, pass_id: int) -> bool:
    """Tell whether a calibration walk was opened in a pass."""
    found = connection.execute(
        sa.select(calibration.c.id)
        .join(draw, same_farm(draw, calibration, id="draw_id"))
        .where(calibration.c.farm_id == farm_id, draw.c.crew_pass_id == pass_id)
        .limit(1)
    )
    return found.first() is not None


def walk_lines(connection: sa.Connection, farm_id: int) -> list[WalkLine]:
    """Return the calibration walks for a list, the latest first."""
    trees = (
        sa.select(sa.func.count())
        .where(draw_tree.c.farm_id == calibration.c.farm_id, draw_tree.c.draw_id == draw.c.id)
        .scalar_subquery()
    )
    return fetch_all(
        connection,
        sa.select(
            calibration.c.id,
            calibration.c.draw_id,
            crew_pass.c.id.label("pass_id"),
            block.c.name.label("block"),
            crew.c.name.label("crew"),
            calibration.c.reference_id,
            user_account.c.name.label("reference"),
            calibration.c.opened_at,
            calibration.c.closed_at,
            trees.label("trees"),
        )
        .join(draw, same_farm(draw, calibration, id="draw_id"))
        .join(crew_pass, same_farm(crew_pass, draw, id="crew_pass_id"))
        .join(block, same_farm(block, crew_pass, id="block_id"))
        .join(crew, same_farm(crew, crew_pass, id="crew_id"))
        .outerjoin(user_account, same_farm(user_account, calibration, id="reference_id"))
        .where(calibration.c.farm_id == farm_id)
        .order_by(calibration.c.id.desc()),
        WalkLine,
    )


def double_check_by_id(
    connection: sa.Connection, farm_id: int, check_id: int
) -> DoubleCheck | None:
    """Return one choice of an audit to be made a second time."""
    return fetch_by_id(connection, double_check, DoubleCheck, farm_id, check_id)


def double_check_of_draw(
    connection: sa.Connection, farm_id: int, draw_id: int
) -> DoubleCheck | None:
    """Return whether the first audit of a draw was chosen to be made a second time."""
    return next(
        iter(fetch_by(connection, double_check, DoubleCheck, farm_id, draw_id=draw_id)), None
    )


def check_lines(
    connection: sa.Connection, farm_id: int, *, check_id: int | None = None
) -> list[CheckLine]:
    """Return the audits chosen to be made a second time, or one of them, the latest first."""
    second, second_auditor = audit.alias("second"), user_account.alias("second_auditor")
    reworked = (
        sa.exists()
        .where(
            rework_order.c.farm_id == lot.c.farm_id,
            rework_order.c.lot_id == lot.c.id,
            sa.or_(rework_order.c.done_at.is_not(None), rework_order.c.crew_pass_id.is_not(None)),
        )
        .label("reworked")
    )
    statement = (
        sa.select(
            *(double_check.c[name] for name in ("id", "draw_id", "audit_id", "check_audit_id")),
            *(double_check.c[name] for name in ("chosen_at", "waived_at", "waived_by")),
            lot.c.id.label("lot_id"),
            lot.c.number.label("lot_number"),
            block.c.name.label("block"),
            crew.c.name.label("crew"),
            crew_pass.c.standard_version_id,
            lot.c.finished_at,
            audit.c.auditor_id,
            user_account.c.name.label("auditor"),
            second.c.auditor_id.label("check_auditor_id"),
            second_auditor.c.name.label("check_auditor"),
            second.c.sealed_at.label("check_sealed_at"),
            reworked,
        )
        .join(draw, same_farm(draw, double_check, id="draw_id"))
        .join(lot, same_farm(lot, draw, id="lot_id"))
        .join(crew_pass, same_farm(crew_pass, draw, id="crew_pass_id"))
        .join(block, same_farm(block, crew_pass, id="block_id"))
        .join(crew, same_farm(crew, crew_pass, id="crew_id"))
        .join(audit, same_farm(audit, double_check, id="audit_id"))
        .join(user_account, same_farm(user_account, audit, id="auditor_id"))
        .outerjoin(second, same_farm(second, double_check, id="check_audit_id"))
        .outerjoin(second_auditor, same_farm(second_auditor, second, id="auditor_id"))
        .where(double_check.c.farm_id == farm_id)
        .order_by(double_check.c.id.desc())
    )
    if check_id is not None:
        statement = statement.where(double_check.c.id == check_id)
    return fetch_all(connection, statement, CheckLine)


def waiting_checks(connection: sa.Connection, farm_id: int) -> list[int]:
    """Return the audits chosen to be made a second time of which nobody has begun or closed one."""
    second = audit.alias("second")
    return list(
        connection.scalars(
            sa.select(double_check.c.id)
            .outerjoin(second, same_farm(second, double_check, id="check_audit_id"))
            .where(
                double_check.c.farm_id == farm_id,
                double_check.c.waived_at.is_(None),
                second.c.sealed_at.is_(None),
            )
            .order_by(double_check.c.id)
        )
    )


def walkable_passes(connection: sa.Connection, farm_id: int, begin: datetime) -> list[WalkablePass]:
    """Return the passes begun since an instant that have finished rows, the latest first."""
    return fetch_all(
        connection,
        sa.select(
            crew_pass.c.id,
            block.c.name.label("block"),
            crew.c.name.label("crew"),
            crew_pass.c.started_at,
            sa.func.count().label("rows_finished"),
        )
        .join(
            pass_row,
            sa.and_(
                pass_row.c.farm_id == crew_pass.c.farm_id,
                pass_row.c.crew_pass_id == crew_pass.c.id,
            ),
        )
        .join(block, same_farm(block, crew_pass, id="block_id"))
        .join(crew, same_farm(crew, crew_pass, id="crew_id"))
        .where(
            crew_pass.c.farm_id == farm_id,
            crew_pass.c.kind != PassKind.REWORK,
            crew_pass.c.started_at >= begin,
            pass_row.c.finished_at.is_not(None),
        )
        .group_by(crew_pass.c.id, block.c.name, crew.c.name, crew_pass.c.started_at)
        .order_by(crew_pass.c.started_at.desc(), crew_pass.c.id.desc()),
        WalkablePass,
    )


def row_numbers_of_draw(connection: sa.Connection, farm_id: int, draw_id: int) -> list[int]:
    """Return the numbers of the rows in which a draw's trees stand."""
    return list(
        connection.scalars(
            sa.select(orchard_row.c.number)
            .join(draw_tree, same_farm(draw_tree, orchard_row, orchard_row_id="id"))
            .where(draw_tree.c.farm_id == farm_id, draw_tree.c.draw_id == draw_id)
            .distinct()
            .order_by(orchard_row.c.number)
        )
    )
