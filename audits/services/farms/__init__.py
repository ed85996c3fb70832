"""Set-up: the farm, its blocks, rows and planting map, its crews and workers."""

from audits.services.farms.blocks import add_block, edit_block
from audits.services.farms.crews import add_crew, add_worker, edit_crew, edit_worker
from audits.services.farms.found import the_block, the_crew, the_farm, the_row, the_worker
from audits.services.farms.planting_map import (
    PlantingEntry,
    add_planting,
    bearing_positions,
    bearing_positions_by_row,
    insert_planting,
    planting_of,
)
from audits.services.farms.rows import add_rows, edit_row
from audits.services.farms.settings import LEAST_PASS_MARK, create_farm, edit_farm

__all__ = [
    "LEAST_PASS_MARK",
    "PlantingEntry",
    "add_block",
    "add_crew",
    "add_planting",
    "add_rows",
    "add_worker",
    "bearing_positions",
    "bearing_positions_by_row",
    "create_farm",
    "edit_block",
    "edit_crew",
    "edit_farm",
    "edit_row",
    "edit_worker",
    "insert_planting",
    "planting_of",
    "the_block",
    "the_crew",
    "the_farm",
    "the_row",
    "the_worker",
]
