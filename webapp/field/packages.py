"""Packages: what a phone takes along to audit one lot without signal."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Final

from babel.numbers import get_decimal_symbol

from audits.messages import Words
from audits.records import Farm
from audits.sampling import walk_sizes
from audits.sampling.stored import read_plan
from audits.services.accounts import LANGUAGES
from audits.services.gauges import serving
from audits.services.preparing import PreparedLot
from audits.services.printing import BatchView
from audits.services.standards import standard_digest
from audits.vocabulary import PLANTING_KIND_NAMES, PlantingKind
from webapp.auditing.gauges import batch_name
from webapp.auditing.places import lot_name, row_name
from webapp.field.stages import panels_of, screen, stage_payload
from webapp.reading import words_of_farm

# The form of a package, so that an older page knows one that it cannot read.
SCHEMA: Final = 1


def package(
    prepared: PreparedLot, farm: Farm, now: datetime, gauges: Sequence[BatchView] = ()
) -> dict[str, object]:
    """
    Return a drawn lot with all that a phone needs to audit it; nobody of the crew is named.

    `gauges` are the printed ones that may be used on the farm now: those that show other limits
    than the lot's standard are left out.
    """
    readers = {language: words_of_farm(farm, language) for language in LANGUAGES}
    standard, method = prepared.standard, prepared.crew_pass.method
    stages = prepared.draw.stages
    panels = {
        language: panels_of(standard, method, stages, reader)
        for language, reader in readers.items()
    }
    plans = {plan.stage: plan for plan in prepared.plans}
    return {
        "schema": SCHEMA,
        "draw": prepared.draw.id,
        # None while its row is still being pruned: the phone's person says when that is done.
        "lot": None if prepared.lot is None else prepared.lot.id,
        "chosen": prepared.chosen,
        "name": {
            language: lot_name(prepared.ranges, reader) for language, reader in readers.items()
        },
        "block": prepared.block.name,
        "crew": prepared.crew.name,
        "purpose": prepared.draw.purpose,
        "finished_at": None if prepared.lot is None else moment(prepared.lot.finished_at),
        "prepared_at": moment(now),
        "drawn_at": moment(prepared.draw.created_at),
        "units": farm.units,
        "decimal_mark": {
            language: get_decimal_symbol(reader.locale) for language, reader in readers.items()
        },
        "method": method,
        "skip_decided": standard.skip_decided,
        "standard": {
            "version": prepared.version.version,
            "digest": standard_digest(prepared.version),
        },
        "gauges": [
            {
                "number": gauge.number,
                "name": {key: reader.say(batch_name(gauge)) for key, reader in readers.items()},
            }
            for gauge in serving(gauges, standard)
        ],
        "wave_sizes": walk_sizes(read_plan(plan.plan) for plan in prepared.plans),
        "stages": [
            stage_payload(plans[stage], standard, method, panel)
            for stage, panel in zip(stages, panels[LANGUAGES[0]], strict=True)
        ],
        "trees": _trees(prepared),
        "rows": _rows(prepared, readers),
        "row_order": prepared.row_ids,
        "kinds": [
            {"value": kind, "name": {key: reader.say(name) for key, reader in readers.items()}}
            for kind, name in PLANTING_KIND_NAMES.items()
            if kind is not PlantingKind.BEARING
        ],
        "screens": {
            language: screen(panels[language], reader) for language, reader in readers.items()
        },
    }


def moment(at: datetime) -> str:
    """Return an instant as a phone reads it."""
    return at.isoformat()


def _trees(prepared: PreparedLot) -> list[dict[str, object]]:
    ranks = prepared.ranks()
    return [
        {
            "id": tree.id,
            "row": tree.orchard_row_id,
            "position": tree.position,
            "side": tree.side,
            "wave": tree.wave,
            "order": tree.walk_order,
            # One that was taken already has its place in the walk.
            "reserve": tree.reserve_order if tree.walk_order is None else None,
            "ranks": ranks[tree.id],
        }
        for tree in prepared.trees
    ]


def _rows(prepared: PreparedLot, readers: Mapping[str, Words]) -> dict[int, dict[str, object]]:
    return {
        row.id: {
            "number": row.number,
            "name": {language: row_name(row, reader) for language, reader in readers.items()},
            "start_end": row.start_end,
            "tree_count": row.tree_count,
            "trees_per_panel": row.trees_per_panel,
        }
        for _, row in prepared.ranges
    }
