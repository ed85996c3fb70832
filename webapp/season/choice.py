"""Which season a page shows, and which others it offers."""

from collections.abc import Iterable
from dataclasses import dataclass

from flask import request

from audits.seasons import season_of
from webapp.extensions import farm, today
from webapp.ids import record_id

# No farm's records reach beyond these years; others would not be dates.
_FIRST_YEAR, _LAST_YEAR = 1900, 2200


@dataclass(frozen=True)
class SeasonChoice:
    """A season that may be chosen."""

    year: int
    label: str
    chosen: bool


def chosen_season() -> int:
    """Return the season asked for, else the present one."""
    asked = request.args.get("season", type=record_id)
    if asked is not None and _FIRST_YEAR <= asked <= _LAST_YEAR:
        return asked
    return season_of(today(), farm().season_start_month)


def season_label(year: int) -> str:
    """Return how people call a season: by both its years unless it begins with the year."""
    if farm().season_start_month == 1:
        return str(year)
    return f"{year}/{(year + 1) % 100:02d}"


def season_choices(seasons: Iterable[int], chosen: int) -> list[SeasonChoice]:
    """Return the seasons with results and the present one, the latest first."""
    present = season_of(today(), farm().season_start_month)
    years = sorted({*seasons, chosen, present}, reverse=True)
    return [SeasonChoice(year, season_label(year), year == chosen) for year in years]
