"""Pictures of the stages are worked out from the standard, and can be told apart without words."""

from dataclasses import replace

import pytest

from audits.messages import ENGLISH
from audits.practice.ideal import ideal_pruning
from audits.practice.pruning import NOTHING_CUT, Pruning, diameter_behind, pruned_tree
from audits.standard import HeadingStageRule, LimbsRule, Standard, TopRule, preset
from audits.vocabulary import BearingHabit, HeadingRule, Stage
from printables.drawing.clear_trees import (
    PIECE_FROM_MM,
    forked_tree,
    hanging_tree,
    limbed_tree,
    slender_tree,
    sparse_tree,
)
from printables.drawing.inks import Ink
from printables.drawing.panel import HEIGHT_MM, SMALL_MM, WIDTH_MM
from printables.drawing.practice_tree import View, limb_shapes, tree_shapes, tree_views
from printables.drawing.primitives import Drawing, Text
from printables.drawing.thumbs import LEAVE_MM, THUMB_MM
from printables.drawing.tree import headed_at_pencil, limbs_out
from printables.stage_pictures import leave_pictures, stage_picture, stage_thumb
from tests.drawn import assert_inside, box, inked, placed

STANDARD = Standard(
    top=TopRule(target_mm=3017.5),
    heading=HeadingStageRule(rule=HeadingRule.REQUIRED),
    row_spacing_mm=3352.8,
    top_wire_mm=3048.0,
)
FORBIDDEN = preset(BearingHabit.TIP, 3352.8)


def words_in(drawing):
    return " ".join(shape.text for shape in placed(drawing) if isinstance(shape, Text))


# --- the trees behind the pictures


@pytest.mark.parametrize("target_mm", [1500.0, 2743.2, 3017.5, 3600.0, 5000.0])
@pytest.mark.parametrize("few", [1, 2])
def test_the_tip_of_the_top_side_branch_stands_at_the_target(target_mm, few):
    tree = slender_tree(target_mm, target_mm + 600.0, few)
    standard = Standard(top=TopRule(target_mm=target_mm), row_spacing_mm=3352.8)
    pruning = ideal_pruning(tree, standard, {Stage.TOP})
    assert pruning.top_mm is not None
    assert pruned_tree(tree, pruning).height_mm == pytest.approx(target_mm, abs=12.0)


def test_a_young_tree_stays_below_the_target():
    assert slender_tree(3000.0, 2500.0).height_mm <= 2500.0


@pytest.mark.parametrize("removals", [0, 1, 2, 3, 4])
@pytest.mark.parametrize("limit_mm", [12.0, 19.0, 25.4])
def test_just_the_limbs_beyond_the_limit_come_out(removals, limit_mm):
    tree = limbed_tree(limit_mm, removals)
    assert tree.limbs[0].union_mm >= PIECE_FROM_MM
    large = {limb.key for limb in tree.limbs if limb.measured_mm() >= limit_mm}
    assert limbs_out(tree, limit_mm, removals).limbs_out == large
    assert len(large) == removals


@pytest.mark.parametrize("side_branch_mm", [100.0, 150.0, 300.0])
def test_every_side_branch_of_the_column_is_longer_than_a_spur(side_branch_mm):
    (limb,) = forked_tree(side_branch_mm).limbs
    assert len(limb.side_branches) == 3
    assert all(side.wood.length_mm > 1.1 * side_branch_mm for side in limb.side_branches)
    assert all(spur.length_mm < side_branch_mm for spur in limb.spurs)


@pytest.mark.parametrize("band", [(6.0, 9.0), (5.0, 8.0), (8.0, 12.0)])
def test_the_pencil_cut_is_worked_out_from_the_band(band):
    tree = hanging_tree(*band)
    (limb,) = tree.limbs
    pruning = headed_at_pencil(tree, *band)
    assert diameter_behind(limb, pruning.headed[limb.key]) == pytest.approx(sum(band) / 2)
    assert limb.bend_mm < band[0]


def test_few_buds_of_the_sparse_branch_are_flower_buds():
    assert 0.1 <= sparse_tree().flower_share <= 0.4


# --- drawing


VIEW = View(45.0, 100.0, 0.03)


def test_heights_are_drawn_to_scale():
    tree = slender_tree(3000.0, 3500.0)
    shapes = tree_shapes(tree, VIEW)
    top = min(box(shape)[1] for shape in placed(Drawing(90, 101, tuple(shapes), "t")))
    assert (100.0 - top) / 0.03 == pytest.approx(3500.0, abs=5.0)


def test_wood_that_came_off_is_paler_and_can_be_left_out():
    tree = slender_tree(3000.0, 3500.0)
    pruning = Pruning(top_mm=3000.0)

    def drawn(**how):
        return Drawing(90, 101, tuple(tree_shapes(tree, VIEW, pruning, **how)), "t")

    assert inked(drawn(), Ink.GONE)
    assert inked(drawn(), Ink.CUT)
    assert not inked(drawn(shows_gone=False), Ink.GONE)
    assert not inked(drawn(shows_marks=False), Ink.CUT)


def test_what_grows_beyond_a_heading_cut_comes_off_with_it():
    (limb,) = forked_tree(150.0).limbs
    cut = limb_shapes(limb, VIEW, Pruning(headed={limb.key: 0.3}), shows_spurs=True)
    whole = limb_shapes(limb, VIEW, NOTHING_CUT, shows_spurs=True)
    # The rest of the limb, its hanging side branch and its fork.
    assert len(cut.gone) == 3
    assert len(cut.stays) < len(whole.stays)


def test_a_view_from_the_other_side_is_mirrored():
    tree = slender_tree(3000.0, 3500.0)
    front = VIEW.place(tree.limbs[0].wood.end)[0] - 45.0
    back = replace(VIEW, from_deg=270.0).place(tree.limbs[0].wood.end)[0] - 45.0
    assert front == pytest.approx(-back, abs=0.01)


def test_views_stand_side_by_side_in_one_frame():
    tree = slender_tree(3000.0, 3500.0)
    drawing = tree_views(tree, title="Tree", from_degs=(90.0, 0.0), size_mm=(60.0, 90.0))
    assert (drawing.width_mm, drawing.height_mm) == (120.0, 90.0)
    assert_inside(drawing)


# --- pictures, thumbs, and trees to leave alone


@pytest.mark.parametrize("stage", Stage)
def test_a_picture_fills_its_panel_and_says_the_stage(stage):
    drawing = stage_picture(STANDARD, stage, ENGLISH)
    assert (drawing.width_mm, drawing.height_mm) == (WIDTH_MM, HEIGHT_MM)
    assert drawing.description.endswith(".")
    assert_inside(drawing, slack_mm=0.3)


@pytest.mark.parametrize("stage", Stage)
def test_a_thumb_has_no_words_but_its_number(stage):
    number = {
        Stage.TOP: "9 ft 11 in",
        Stage.LIMBS: "3/4 in",
        Stage.COLUMNS: "6 in",
        Stage.HEADING: "1/4 to 3/8 in",
    }[stage]
    drawing = stage_thumb(STANDARD, stage, ENGLISH)
    assert (drawing.width_mm, drawing.height_mm) == (THUMB_MM, THUMB_MM)
    assert words_in(drawing).replace("\u00a0", " ") == number
    sizes = [shape.size_mm for shape in placed(drawing) if isinstance(shape, Text)]
    assert min(sizes) >= SMALL_MM - 1e-9
    assert not words_in(stage_thumb(STANDARD, stage, ENGLISH, lettered=False))


def test_letters_of_a_thumb_stand_clear_of_its_picture():
    for stage in Stage:
        shapes = placed(stage_thumb(STANDARD, stage, ENGLISH))
        letters = [box(shape) for shape in shapes if isinstance(shape, Text)]
        drawn = [box(shape) for shape in shapes if not isinstance(shape, Text)]
        assert max(bottom for *_, bottom in drawn) <= min(top for _, top, *_ in letters) + 0.4


def test_the_four_thumbs_differ():
    thumbs = {stage_thumb(STANDARD, stage, ENGLISH, lettered=False).shapes for stage in Stage}
    assert len(thumbs) == 4


def test_pictures_change_with_the_standard():
    other = STANDARD.model_copy(
        update={
            "top": TopRule(target_mm=2600.0),
            "limbs": LimbsRule(least=3, most=3),
            "columns": STANDARD.columns.model_copy(update={"side_branch_mm": 200.0}),
            "heading": HeadingStageRule(
                rule=HeadingRule.REQUIRED, thinnest_mm=8.0, thickest_mm=12.0
            ),
        }
    )
    for stage in Stage:
        one, two = (stage_picture(s, stage, ENGLISH).shapes for s in (STANDARD, other))
        assert one != two, stage


@pytest.mark.parametrize("draw", [stage_picture, stage_thumb])
def test_no_cut_is_drawn_where_heading_is_forbidden(draw):
    assert inked(draw(STANDARD, Stage.HEADING, ENGLISH), Ink.CUT)
    for rule in (HeadingRule.FORBIDDEN, HeadingRule.OFF):
        standard = FORBIDDEN.model_copy(update={"heading": HeadingStageRule(rule=rule)})
        drawing = draw(standard, Stage.HEADING, ENGLISH)
        assert not inked(drawing, Ink.CUT)
        assert not words_in(drawing)
        assert inked(drawing, Ink.RIGHT)


def test_a_tip_bearer_is_drawn_with_the_bud_at_its_tip():
    off = FORBIDDEN.model_copy(update={"heading": HeadingStageRule()})
    (limb,) = hanging_tree(6.0, 9.0).limbs
    assert not limb.has_tip_flower
    forbidden, usual = (stage_picture(s, Stage.HEADING, ENGLISH) for s in (FORBIDDEN, off))

    def lowest_bud(drawing):
        return max(shape.centre[0] for shape in inked(drawing, Ink.SPUR))

    assert lowest_bud(forbidden) > lowest_bud(usual) + 3.0


def test_trees_to_leave_alone_carry_no_cut_and_no_words():
    pictures = leave_pictures(STANDARD, ENGLISH, low_bloom=True)
    assert [picture.title for picture in pictures] == [
        "Top below the line",
        "No large limb",
        "Few flower buds",
    ]
    for picture in pictures:
        assert (picture.width_mm, picture.height_mm) == (LEAVE_MM, LEAVE_MM)
        assert not inked(picture, Ink.CUT)
        assert not inked(picture, Ink.GONE)
        assert not words_in(picture)
        assert_inside(picture, slack_mm=0.3)


def test_only_what_can_happen_in_the_block_is_left_alone():
    assert len(leave_pictures(STANDARD, ENGLISH, low_bloom=False)) == 2
    no_top = STANDARD.model_copy(update={"top": TopRule(target_mm=3000, in_use=False)})
    assert [p.title for p in leave_pictures(no_top, ENGLISH, low_bloom=False)] == ["No large limb"]


def test_few_buds_are_no_reason_to_leave_anything_where_limbs_are_not_pruned():
    limbs = STANDARD.limbs.model_copy(update={"in_use": False})
    no_limbs = STANDARD.model_copy(update={"limbs": limbs})
    pictures = leave_pictures(no_limbs, ENGLISH, low_bloom=True)
    assert [picture.title for picture in pictures] == ["Top below the line"]


def test_a_young_top_ends_below_the_line():
    young = leave_pictures(STANDARD, ENGLISH, low_bloom=False)[0]
    (line,) = inked(young, Ink.RIGHT_LINE)
    assert min(box(wood)[1] for wood in inked(young, Ink.WOOD)) > line.start[1] + 1.0
