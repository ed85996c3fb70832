"""Seasons: a farm's year, named after the calendar year in which it begins."""

from datetime import UTC, date, datetime, time, timedelta
from typing import Final, NamedTuple
from zoneinfo import ZoneInfo

_MONTHS: Final = 12


class Season(NamedTuple):
    """
    The days of a season.

    Parameters
    ----------
    year : int
        Calendar year in which it begins.
    first_day, last_day : date
        Its ends, both included.
    """

    year: int
    first_day: date
    last_day: date


class Span(NamedTuple):
    """
    A stretch of time.

    Parameters
    ----------
    begin : datetime
        Its first instant.
    end : datetime
        The first instant after it.
    """

    begin: datetime
    end: datetime


def season_of(day: date, start_month: int) -> int:
    """
    Return the season that a day belongs to.

    Parameters
    ----------
    day : date
        A day, as the farm's calendar has it.
    start_month : int
        Month with which the farm's seasons begin, 1 to 12.

    Returns
    -------
    int
        Calendar year in which the season began.

    Raises
    ------
    ValueError
        If the month lies outside its range.

    Examples
    --------
    >>> season_of(date(2026, 1, 12), start_month=11)
    2025
    """
    _check_month(start_month)
    return day.year if day.month >= start_month else day.year - 1


def season_days(season: int, start_month: int) -> Season:
    """
    Return the first and the last day of a season.

    Parameters
    ----------
    season : int
        Calendar year in which it begins.
    start_month : int
        Month with which the farm's seasons begin, 1 to 12.

    Returns
    -------
    Season
        A whole year from the first day of that month on.

    Raises
    ------
    ValueError
        If the month lies outside its range.

    Examples
    --------
    >>> season_days(2025, start_month=11).last_day
    datetime.date(2026, 10, 31)
    """
    _check_month(start_month)
    first_day = date(season, start_month, 1)
    return Season(season, first_day, date(season + 1, start_month, 1) - timedelta(days=1))


def season_span(season: int, start_month: int, time_zone: str) -> Span:
    """
    Return when a season begins and ends.

    Parameters
    ----------
    season : int
        Calendar year in which it begins.
    start_month : int
        Month with which the farm's seasons begin, 1 to 12.
    time_zone : str
        The farm's time zone, a name of the IANA database.

    Returns
    -------
    Span
        From midnight at the farm to midnight at the farm, in UTC.

    Raises
    ------
    ValueError
        If the month lies outside its range.

    Examples
    --------
    >>> season_span(2025, 11, "America/New_York").begin
    datetime.datetime(2025, 11, 1, 4, 0, tzinfo=datetime.timezone.utc)
    """
    _check_month(start_month)
    zone = ZoneInfo(time_zone)
    begin, end = (
        datetime.combine(date(year, start_month, 1), time.min, zone).astimezone(UTC)
        for year in (season, season + 1)
    )
    return Span(begin, end)


def _check_month(start_month: int) -> None:
    if not 1 <= start_month <= _MONTHS:
        raise ValueError(f"start_month must lie between 1 and {_MONTHS}, not {start_month}")
