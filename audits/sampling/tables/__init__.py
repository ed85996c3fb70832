"""The attribute tables of MIL-STD-105E: code letters, single and double plans, limit numbers."""

from audits.sampling.tables.cells import Pointer, resolved_cell, table_cell
from audits.sampling.tables.code_letters import CODE_LETTERS, SMALLEST_LOT, code_letter
from audits.sampling.tables.limit_numbers import NoLimit, limit_number
from audits.sampling.tables.lookup import table_plan, tighter_acceptance_number
from audits.sampling.tables.terms import (
    ACCEPTABLE_QUALITY_LIMITS,
    INSPECTION_NAMES,
    Inspection,
    InspectionLevel,
    PlanKind,
    limit_column,
)

__all__ = [
    "ACCEPTABLE_QUALITY_LIMITS",
    "CODE_LETTERS",
    "INSPECTION_NAMES",
    "SMALLEST_LOT",
    "Inspection",
    "InspectionLevel",
    "NoLimit",
    "PlanKind",
    "Pointer",
    "code_letter",
    "limit_column",
    "limit_number",
    "resolved_cell",
    "table_cell",
    "table_plan",
    "tighter_acceptance_number",
]
