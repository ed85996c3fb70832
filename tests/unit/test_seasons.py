"""Seasons begin with the farm's month and are named after the year in which they begin."""

from datetime import UTC, date, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from audits.seasons import season_days, season_of, season_span

DAYS = st.dates(date(1990, 1, 1), date(2100, 12, 31))
MONTHS = st.integers(1, 12)


@pytest.mark.parametrize(
    ("day", "start_month", "season"),
    [
        (date(2025, 10, 31), 11, 2024),
        (date(2025, 11, 1), 11, 2025),
        (date(2026, 1, 12), 11, 2025),
        (date(2026, 10, 31), 11, 2025),
        (date(2026, 1, 1), 1, 2026),
        (date(2026, 12, 31), 1, 2026),
        (date(2026, 6, 30), 7, 2025),
        (date(2026, 12, 1), 12, 2026),
    ],
)
def test_a_day_belongs_to_the_season_that_began_last(day, start_month, season):
    assert season_of(day, start_month) == season


@given(DAYS, MONTHS)
def test_a_day_lies_between_the_ends_of_its_season(day, start_month):
    season = season_days(season_of(day, start_month), start_month)
    assert season.first_day <= day <= season.last_day


@given(st.integers(1990, 2100), MONTHS)
def test_seasons_follow_each_other_without_gap_or_overlap(year, start_month):
    following = season_days(year + 1, start_month)
    assert season_days(year, start_month).last_day + timedelta(days=1) == following.first_day
    assert following.first_day.month == start_month


def test_a_season_of_a_leap_year_has_a_day_more():
    season = season_days(2027, 11)
    assert (season.last_day - season.first_day).days + 1 == 366


def test_a_season_begins_at_midnight_on_the_farm_and_not_in_greenwich():
    span = season_span(2025, 11, "America/Los_Angeles")
    # 1 November 2025 is still in daylight saving time there (UTC-7), as is 1 November 2026.
    assert span.begin == datetime(2025, 11, 1, 7, tzinfo=UTC)
    assert span.end == datetime(2026, 11, 1, 7, tzinfo=UTC)


@pytest.mark.parametrize("month", [0, 13, -1])
def test_a_month_that_does_not_exist_is_refused(month):
    with pytest.raises(ValueError, match="start_month must lie between 1 and 12"):
        season_of(date(2026, 1, 1), month)
    with pytest.raises(ValueError, match="start_month"):
        season_days(2026, month)
    with pytest.raises(ValueError, match="start_month"):
        season_span(2026, month, "UTC")
