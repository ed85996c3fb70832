"""A season week by week: what is said of a rise, of a jump, of chance, and of nothing at all."""

from datetime import date, timedelta

import pytest

from audits.services.weeks import courses_of_season, weeks_of
from audits.storage.queries.comparing import ComparedLine

MONDAY = date(2026, 1, 5)
ONE_CREW = {1: ("Crew A", 9)}


def line(week: int, nonconforming: int, due: int, *, crew_id: int = 1, day: int = 0):
    return ComparedLine(
        worker_id=None,
        crew_id=crew_id,
        block_id=1,
        auditor_id=1,
        audit_id=week,
        due=due,
        nonconforming=nonconforming,
        scored_on=MONDAY + timedelta(days=7 * week + day),
        standard_version_id=1,
    )


def said(*pairs: tuple[int, int]) -> list[str]:
    lines = [line(week, *pair) for week, pair in enumerate(pairs)]
    (course,) = courses_of_season(lines, ONE_CREW)
    return [str(sentence) for sentence in course.sentences]


def test_days_of_a_week_are_added_up():
    weeks = weeks_of([line(0, 1, 10), line(0, 2, 12, day=6), line(1, 0, 5)])
    assert [(week.monday, week.nonconforming, week.due) for week in weeks] == [
        (MONDAY, 3, 22),
        (MONDAY + timedelta(days=7), 0, 5),
    ]


def test_a_rise_is_said_with_its_limits():
    rise = said((2, 50), (4, 50), (5, 50), (8, 50), (9, 50), (13, 50), (14, 50), (18, 50))
    assert rise[0].startswith("Faults became more common: their odds at the end were about ")
    assert rise[0].endswith("times (400 trees in 8 weeks).")
    assert rise[1].startswith("Week by week the rate rose: about 4.5 in 100 more each week")


def test_a_fall_reads_in_figures_above_zero():
    fall = said((18, 50), (14, 50), (13, 50), (9, 50), (8, 50), (5, 50), (4, 50), (2, 50))
    assert fall[0].startswith("Faults became rarer")
    assert fall[1].startswith("Week by week the rate fell: about 4.5 in 100 fewer each week")
    assert "-" not in fall[1]


def test_a_jump_is_said_with_what_was_before_and_after():
    jump = said(
        *[(2, 40), (3, 40), (2, 41), (1, 40), (2, 42), (3, 41)],
        *[(12, 40), (13, 41), (12, 42), (14, 40), (13, 40), (12, 41)],
    )
    assert jump[2].startswith("The rate changed from the week of Feb 16, 2026 on: from 5.3 in 100 ")
    assert "(244 trees) to 31.1 in 100 (244 trees), a difference of " in jump[2]


def test_a_steady_season_is_said_to_be_chance():
    steady = said((3, 40), (2, 40), (4, 40), (3, 41), (2, 40), (4, 42), (3, 40))
    assert steady[0].startswith("From beginning to end nothing beyond chance")
    assert steady[1].startswith("Week by week nothing beyond chance")
    assert steady[2] == "No week stands out at which the rate changed (7 weeks)."


@pytest.mark.parametrize(
    ("pairs", "sentence"),
    [
        ([(1, 9), (0, 9), (2, 9)], "27 trees in 3 weeks: too few to see a course."),
        ([(9, 90)], "90 trees in 1 week: too few to see a course."),
        ([(0, 20)] * 6, "No fault was found."),
        ([(20, 20)] * 6, "Every tree had a fault."),
    ],
)
def test_where_there_is_nothing_to_see_a_sentence_says_so(pairs, sentence):
    assert said(*pairs)[0] == sentence


def test_weeks_of_few_trees_count_in_the_first_sentence_only():
    few = said((1, 20), (0, 20), (2, 20), (0, 4), (1, 3))
    assert "(67 trees in 5 weeks)" in few[0]
    assert few[1] == "3 weeks of at least 10 trees: too few to look for a steady course."


def test_equal_rates_and_neat_ones_are_no_numbers_out_of_bounds():
    assert "All 6 weeks had the same rate." in said(*[(2, 20)] * 6)
    neat = said(*[(0, 20)] * 4, *[(20, 20)] * 4)
    assert not any(word in " ".join(neat) for word in ("nan", "inf"))


def test_crews_are_told_apart_and_small_ones_held_back():
    lines = [line(week, 2, 20, crew_id=1 + week % 2) for week in range(8)]
    farm, first, second = courses_of_season(lines, {2: ("Arroyo", 4), 1: ("Mesa", 9)})
    assert (farm.name, first.name, second.name) == ("", "Arroyo", "Mesa")
    assert not first.weeks
    assert str(first.sentences[0]) == (
        "The crew has fewer than 5 people, so its figures are not shown."
    )
    assert len(second.weeks) == 4
    assert courses_of_season([], ONE_CREW) == ()
