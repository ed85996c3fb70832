"""
Densities and heights against published and derived figures.

An acre is 43,560 square feet and a foot 0.3048 m exactly; figures marked "derived" follow from that
by hand, figures marked "published" stand in the named source.
"""

import pytest

from audits.planting import (
    MM2_PER_ACRE,
    MM2_PER_HECTARE,
    target_height,
    trees_per_acre,
    trees_per_hectare,
)

FOOT_MM = 304.8


@pytest.mark.parametrize(
    ("tree_ft", "row_ft", "per_acre", "per_hectare"),
    [
        (3, 11, 1320, 3262),
        (3, 12, 1210, 2990),
        (3, 10, 1452, 3588),
        (3.5, 12, 1037, 2563),
        (4, 12, 907.5, 2242),
        (4, 11, 990, 2446),
    ],
)
def test_imperial_spacings_give_the_derived_densities(tree_ft, row_ft, per_acre, per_hectare):
    # Derived: 43,560 / (row x tree) per acre, and that times 2.4711 per hectare, printed to whole
    # trees (907.5 to one decimal).
    spacings = (row_ft * FOOT_MM, tree_ft * FOOT_MM)
    assert trees_per_acre(*spacings) == pytest.approx(per_acre, abs=0.5)
    assert trees_per_hectare(*spacings) == pytest.approx(per_hectare, abs=0.5)


@pytest.mark.parametrize(
    ("tree_ft", "row_ft", "published", "slack"),
    [
        # Ontario agriculture ministry, precision-pruning trial, 2013: 14 x 5 ft 622, 20 x 15 ft
        # 145, whole trees; 11 x 4 ft given in round figures as 1,000.
        (5, 14, 622, 0.5),
        (15, 20, 145, 0.5),
        (4, 11, 1000, 50),
        # Good Fruit Grower, "Make your crop load count": 12 x 3 ft, "about 1,200".
        (3, 12, 1200, 50),
        # T. Scully, "Tall spindle apple trees", Country Folks: 25 square feet a tree, 1,742.
        (5, 5, 1742, 0.5),
    ],
)
def test_densities_agree_with_published_ones(tree_ft, row_ft, published, slack):
    density = trees_per_acre(row_ft * FOOT_MM, tree_ft * FOOT_MM)
    assert density == pytest.approx(published, abs=slack)


@pytest.mark.parametrize(
    ("tree_m", "row_m", "per_hectare"),
    [(1.0, 3.5, 2857.1), (0.9, 3.6, 3086.4), (1.0, 3.0, 3333.3), (1.25, 4.0, 2000.0)],
)
def test_metric_spacings_give_the_derived_densities(tree_m, row_m, per_hectare):
    # Derived: 10,000 / (row x tree), to one decimal.
    assert trees_per_hectare(row_m * 1000, tree_m * 1000) == pytest.approx(per_hectare, abs=0.05)


def test_an_acre_is_its_legal_share_of_a_hectare():
    # NIST Handbook 44, Appendix C: 1 acre = 0.404 686 hectare (from memory; also exact from the
    # foot of 0.3048 m: 0.40468564224).
    assert pytest.approx(0.404686, abs=5e-7) == MM2_PER_ACRE / MM2_PER_HECTARE
    assert pytest.approx(0.40468564224, rel=1e-14) == MM2_PER_ACRE / MM2_PER_HECTARE


@pytest.mark.parametrize(
    ("row_ft", "height_ft", "height_m"),
    [(10, 9.0, 2.74), (11, 9.9, 3.02), (12, 10.8, 3.29), (13, 11.7, 3.57), (14, 12.6, 3.84)],
)
def test_target_heights_follow_the_published_rule(row_ft, height_ft, height_m):
    # Rule published by J. Clements, report of a pruning demonstration, 2009: height limit 0.9 x row
    # width. The pairs are derived from it; metres are printed to the centimetre.
    height_mm = target_height(row_ft * FOOT_MM)
    assert height_mm == pytest.approx(height_ft * FOOT_MM, abs=0.005)
    assert height_mm == pytest.approx(height_m * 1000, abs=5)


@pytest.mark.parametrize(
    ("row_m", "height_m"), [(3.0, 2.70), (3.5, 3.15), (3.6, 3.24), (4.0, 3.60)]
)
def test_metric_target_heights_follow_the_published_rule(row_m, height_m):
    # Derived from the same rule, exact.
    assert target_height(row_m * 1000) == pytest.approx(height_m * 1000, abs=0.005)


def test_the_reference_planting_is_as_tall_as_its_rows_allow():
    # "The tall spindle system", Fruit Growers News, 2007: 3 x 11 ft, tree about 10 ft tall.
    assert target_height(11 * FOOT_MM) == pytest.approx(10 * FOOT_MM, abs=FOOT_MM / 4)
