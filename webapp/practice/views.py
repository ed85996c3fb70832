"""The pictures of a pack's trees: each stage's view, with the places on it."""

from audits.practice.pack import PackTree
from audits.practice.pruning import NOTHING_CUT
from audits.standard import Standard
from printables.practice_views import (
    KeyedView,
    Pole,
    branch_view,
    limbs_view,
    top_view,
    view_svg,
)


def tree_views(tree: PackTree, standard: Standard, wire_mm: float | None) -> dict[str, object]:
    """Return the view of the top, of the limbs, and of every branch that may be looked at."""
    grown, side = tree.tree, tree.side
    pencil_mm = (standard.heading.thinnest_mm + standard.heading.thickest_mm) / 2
    top = top_view(
        grown,
        NOTHING_CUT,
        tree.tops,
        wire_mm=wire_mm,
        pole=Pole(standard.top.target_mm, standard.top.tolerance_mm),
        side=side,
    )
    limbs = limbs_view(grown, NOTHING_CUT, tree.tops, gauge_mm=standard.limbs.large_mm, side=side)
    return {
        "top": _view(top),
        "limbs": _view(limbs),
        "branches": {
            limb: _view(branch_view(grown, limb, NOTHING_CUT, heads, pencil_mm=pencil_mm))
            for limb, heads in tree.heads.items()
        },
    }


def _view(view: KeyedView) -> dict[str, object]:
    return {
        "svg": view_svg(view),
        "width": view.drawing.width_mm,
        "height": view.drawing.height_mm,
        "places": [
            {"id": place.id, "x": round(place.x_mm, 1), "y": round(place.y_mm, 1)}
            for place in view.places
        ],
    }
