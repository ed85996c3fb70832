"""What the forms of the print desk offer: blocks, people, printers, sheets that wait."""

from collections import defaultdict
from functools import cached_property

from flask_babel import format_date, gettext

from audits.records import Block, Crew, Printer, Worker
from audits.storage.queries import farms as farm_queries
from audits.storage.queries import printing as printing_queries
from audits.storage.queries import today as today_queries
from audits.storage.queries.training import learning_of_farm
from audits.storage.queries.trends import seasons_with_results
from webapp.access import actor
from webapp.coaching.papers import name_of
from webapp.extensions import database
from webapp.passes.rows import rows_words
from webapp.season.choice import chosen_season, season_choices

Named = list[tuple[int, str]]


class Stock:
    """The farm's records, each kind read when a form first asks for it."""

    @cached_property
    def blocks(self) -> list[Block]:
        """The blocks by name."""
        with database().read() as connection:
            return farm_queries.blocks(connection, actor().farm_id)

    @cached_property
    def crews(self) -> list[Crew]:
        """The crews."""
        with database().read() as connection:
            return farm_queries.crews(connection, actor().farm_id)

    @cached_property
    def workers(self) -> list[Worker]:
        """The workers, by name as people read it."""
        with database().read() as connection:
            workers = farm_queries.workers(connection, actor().farm_id)
        return sorted(workers, key=lambda worker: name_of(worker).casefold())

    @cached_property
    def signed_off(self) -> set[int]:
        """The workers who are signed off for a stage."""
        with database().read() as connection:
            learned = learning_of_farm(connection, actor().farm_id)
        return {each.worker_id for each in learned if each.signed_off_at is not None}

    @cached_property
    def printers(self) -> list[Printer]:
        """The printers in use, by name."""
        with database().read() as connection:
            return printing_queries.printers(connection, actor().farm_id)

    @cached_property
    def audits(self) -> Named:
        """The audits that are not sealed yet, with where they are and whose they are."""
        with database().read() as connection:
            audits = today_queries.open_audits(connection, actor().farm_id)
        return [
            (audit.id, f"{self._lots[audit.lot_id]}, {audit.auditor}")
            for audit in audits
            if audit.lot_id in self._lots
        ]

    @cached_property
    def orders(self) -> Named:
        """The rework orders of lots that went back and wait."""
        with database().read() as connection:
            orders = today_queries.open_orders(connection, actor().farm_id)
        return [
            (
                order.id,
                gettext(
                    "%(lot)s, sent back %(day)s",
                    lot=self._lots[order.lot_id],
                    day=format_date(order.created_at, "medium"),
                ),
            )
            for order in orders
            if order.lot_id in self._lots
        ]

    @cached_property
    def seasons(self) -> Named:
        """The seasons with results and the present one, the latest first."""
        with database().read() as connection:
            found = seasons_with_results(connection, actor().farm_id)
        return [(choice.year, choice.label) for choice in season_choices(found, chosen_season())]

    @cached_property
    def _lots(self) -> dict[int, str]:
        """The open lots by id, as people call them."""
        with database().read() as connection:
            lots = today_queries.open_lots(connection, actor().farm_id)
            rows = today_queries.rows_of_open_lots(connection, actor().farm_id)
        numbers = defaultdict(set)
        for row in rows:
            numbers[row.lot_id].add(row.row_number)
        return {lot.id: f"{lot.block}, {rows_words(sorted(numbers[lot.id]))}" for lot in lots}
