"""The trees of the gallery as its page shows them."""

from dataclasses import dataclass
from functools import lru_cache
from typing import Final

from flask_babel import gettext
from markupsafe import Markup

from audits.practice.figures import Measure, Pruned, TreeFigures, measures, pruned, spread
from audits.practice.grow import grow_tree
from audits.practice.growth import Growth
from audits.practice.model import TreeKind
from audits.practice.words import KIND_WORDS
from audits.standard import Standard
from printables.drawing.svg import to_svg
from printables.practice_views import before_and_after, whole_scale
from webapp.practice_gallery.choice import Choice
from webapp.reading import words

# As many usual trees stand for all that grow so.
TREES: Final = 20
_SIZE_MM: Final = (84.0, 92.0)


@dataclass(frozen=True)
class TreeView:
    """A tree before and after, with its figures: name, before, after."""

    kind: str
    name: str
    drawing: Markup
    rows: list[tuple[str, ...]]


@dataclass(frozen=True)
class MeasureView:
    """A figure of all usual trees that grow so, and what is published of it."""

    name: str
    before: str
    after: str
    published: list[tuple[str, str]]


@dataclass(frozen=True)
class GalleryView:
    """Everything that the page shows."""

    trees: list[TreeView]
    measures: list[MeasureView]
    count: int


def gallery_view(choice: Choice) -> GalleryView:
    """Return the trees that a choice asks for."""
    listed = measures(choice.standard)
    many = _usual_trees(choice.standard, choice.growth(TreeKind.USUAL))
    one_each = {
        kind: pruned(grow_tree(choice.number, choice.growth(kind)), choice.standard)
        for kind in TreeKind
    }
    # All at one scale, so that a short tree looks short.
    scale = whole_scale([found.tree for found in one_each.values()], size_mm=_SIZE_MM)
    return GalleryView(
        trees=[_tree(kind, found, listed, scale) for kind, found in one_each.items()],
        measures=[_measure(measure, many) for measure in listed],
        count=TREES,
    )


@lru_cache(maxsize=32)
def _usual_trees(standard: Standard, growth: Growth) -> tuple[Pruned, ...]:
    return tuple(pruned(grow_tree(number, growth), standard) for number in range(TREES))


def _tree(kind: TreeKind, found: Pruned, listed: tuple[Measure, ...], scale: float) -> TreeView:
    name = words().say(KIND_WORDS[kind])
    drawing = before_and_after(
        found.tree,
        found.pruning,
        scale=scale,
        words=(
            name,
            gettext("Drawn in winter: as it stands on the left, after pruning on the right."),
        ),
        size_mm=_SIZE_MM,
    )
    return TreeView(
        kind=kind,
        name=name,
        # The drawing layer escapes every text that it writes.
        drawing=Markup(to_svg(drawing, id_prefix=f"tree-{kind}", compact=True)),  # noqa: S704
        rows=[
            (
                words().say(measure.name),
                _value(measure, found.before),
                _value(measure, found.after),
            )
            for measure in listed
        ],
    )


def _measure(measure: Measure, many: tuple[Pruned, ...]) -> MeasureView:
    return MeasureView(
        name=words().say(measure.name),
        before=_spread(measure, [found.before for found in many]),
        after=_spread(measure, [found.after for found in many]),
        published=[(words().say(each.says), each.source) for each in measure.published],
    )


def _value(measure: Measure, tree: TreeFigures) -> str:
    value = measure.value(tree)
    return "-" if value is None else words().show(measure.read(value))


def _spread(measure: Measure, trees: list[TreeFigures]) -> str:
    found = spread(measure, trees)
    if found is None:
        return "-"
    least, middle, most = (words().show(measure.read(value)) for value in found)
    if least == most:
        return least
    return str(gettext("%(mean)s, from %(least)s to %(most)s", mean=middle, least=least, most=most))
