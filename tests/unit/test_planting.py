"""Densities, target heights, panels, and what stands where on a day."""

import math
from datetime import date

import pytest

from audits.errors import InvalidInput
from audits.messages import ENGLISH
from audits.planting import (
    Planting,
    PositionRange,
    bearing_positions,
    check_plantings,
    place_in_row,
    plantings_on,
    ranges_of,
    target_height,
    trees_per_acre,
    trees_per_hectare,
)
from audits.vocabulary import PlantingKind

PLANTED = date(2015, 4, 10)


def planting(first, last, kind=PlantingKind.BEARING, since=PLANTED, until=None, **changes):
    values = {"cultivar": "Gala", "year": since.year, **changes}
    return Planting(first, last, kind, since=since, until=until, **values)


@pytest.mark.parametrize("spacing", [0, -1, math.nan, math.inf])
def test_spacings_must_be_lengths(spacing):
    for density in (trees_per_acre, trees_per_hectare):
        with pytest.raises(ValueError, match="row_spacing_mm"):
            density(spacing, 1000)
        with pytest.raises(ValueError, match="tree_spacing_mm"):
            density(3000, spacing)
    with pytest.raises(ValueError, match="row_spacing_mm"):
        target_height(spacing)
    with pytest.raises(ValueError, match="ratio"):
        target_height(3000, spacing)


def test_the_ratio_of_height_to_row_spacing_is_the_farms():
    assert target_height(4000, ratio=0.8) == 3200


@pytest.mark.parametrize(
    ("position", "trees_per_panel", "place"),
    [(1, 10, (1, 1)), (10, 10, (1, 10)), (11, 10, (2, 1)), (187, 10, (19, 7)), (5, 1, (5, 1))],
)
def test_a_position_is_found_by_counting_panels_and_trees(position, trees_per_panel, place):
    assert place_in_row(position, trees_per_panel) == place


def test_a_place_reads_as_panel_and_tree():
    assert ENGLISH.show(place_in_row(187, 10)) == "panel 19, tree 7"


def test_positions_and_panels_are_counted_from_one():
    with pytest.raises(ValueError, match="position must be at least 1, not 0"):
        place_in_row(0, 10)
    with pytest.raises(ValueError, match="trees_per_panel must be at least 1, not 0"):
        place_in_row(1, 0)


def test_only_bearing_trees_of_the_standard_belong_to_a_lot():
    row = [planting(1, 9)] + [
        planting(position, position, kind, since=date(2020, 1, 1))
        for position, kind in enumerate(PlantingKind, start=2)
    ]
    others = {
        position
        for position, kind in enumerate(PlantingKind, start=2)
        if kind is not PlantingKind.BEARING
    }
    assert set(bearing_positions(row, date(2021, 1, 1))) == set(range(1, 10)) - others


def test_nothing_stands_before_the_row_is_planted():
    assert bearing_positions([planting(1, 3)], date(2015, 4, 9)) == ()
    assert bearing_positions([planting(1, 3)], PLANTED) == (1, 2, 3)


def test_the_planting_that_began_last_wins_whatever_the_order():
    old = planting(1, 4)
    replant = planting(2, 3, PlantingKind.REPLANT, since=date(2022, 4, 1))
    for row in ([old, replant], [replant, old]):
        assert bearing_positions(row, date(2022, 3, 31)) == (1, 2, 3, 4)
        assert bearing_positions(row, date(2022, 4, 1)) == (1, 4)
        assert plantings_on(row, date(2022, 4, 1))[2] is replant


def test_a_replant_that_comes_into_bearing_joins_the_lot_again():
    row = [
        planting(1, 2),
        planting(2, 2, PlantingKind.REPLANT, since=date(2022, 4, 1), until=date(2025, 1, 1)),
        planting(2, 2, since=date(2025, 1, 1)),
    ]
    assert bearing_positions(row, date(2024, 12, 31)) == (1,)
    assert bearing_positions(row, date(2025, 1, 1)) == (1, 2)


def test_the_old_tree_does_not_come_back_when_its_replant_has_ended():
    row = [
        planting(1, 2),
        planting(2, 2, PlantingKind.REPLANT, since=date(2022, 4, 1), until=date(2023, 5, 1)),
    ]
    assert bearing_positions(row, date(2023, 5, 1)) == (1,)
    assert 2 not in plantings_on(row, date(2023, 5, 1))


def test_a_planting_stands_until_the_day_before_it_ends():
    row = [planting(1, 1, until=date(2023, 5, 1))]
    assert bearing_positions(row, date(2023, 4, 30)) == (1,)
    assert bearing_positions(row, date(2023, 5, 1)) == ()


def test_a_range_holds_both_its_ends():
    assert [planting(2, 4).covers(position) for position in range(1, 6)] == [
        False,
        True,
        True,
        True,
        False,
    ]


def test_positions_join_to_ranges():
    assert ranges_of([]) == ()
    assert ranges_of([5]) == (PositionRange(5, 5),)
    assert ranges_of([1, 3]) == (PositionRange(1, 1), PositionRange(3, 3))
    assert ranges_of([3, 1, 2, 2, 7]) == (PositionRange(1, 3), PositionRange(7, 7))


def problems_of(plantings, trees_in_row=100):
    with pytest.raises(InvalidInput) as caught:
        check_plantings(plantings, trees_in_row)
    return {field: str(message) for field, message in caught.value.problems.items()}


def test_a_history_that_can_be_true_is_taken():
    check_plantings([], 0)
    check_plantings(
        [planting(1, 100), planting(5, 5, PlantingKind.DEAD, since=date(2020, 1, 1), year=None)],
        100,
    )
    check_plantings([planting(1, 50), planting(51, 100)], 100)


def test_a_range_must_lie_in_the_row():
    assert problems_of([planting(1, 100), planting(99, 101, since=date(2016, 1, 1))]) == {
        "1.last_position": "Position 101 does not exist: the row ends at position 100."
    }
    assert problems_of([planting(0, 5)]) == {"0.first_position": "Positions are counted from 1."}
    assert problems_of([planting(101, 102)]).keys() == {"0.first_position", "0.last_position"}


def test_a_range_must_run_forwards():
    assert problems_of([planting(7, 5)]) == {
        "0.last_position": "The last position, 5, comes before the first, 7."
    }


def test_a_planting_must_not_end_before_it_begins():
    assert problems_of([planting(1, 5, until=PLANTED)]) == {
        "0.until": "It ends on Apr 10, 2015, but begins only on Apr 10, 2015."
    }


def test_a_tree_cannot_be_younger_than_its_record():
    assert problems_of([planting(1, 5, year=2016)]) == {
        "0.year": "It stands there since Apr 10, 2015, so it was not planted as late as 2016."
    }


def test_one_position_is_not_entered_twice_from_the_same_day():
    assert problems_of([planting(1, 50), planting(50, 60)]) == {
        "1.first_position": "Position 50 is entered twice from the same day."
    }
    assert problems_of([planting(1, 50), planting(40, 60)]) == {
        "1.first_position": "Positions 40 to 50 are entered twice from the same day."
    }


def test_every_problem_is_named_at_once():
    problems = problems_of([planting(0, 200), planting(9, 3, since=date(2016, 1, 1), year=2020)])
    assert problems.keys() == {
        "0.first_position",
        "0.last_position",
        "1.last_position",
        "1.year",
    }
