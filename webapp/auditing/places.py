"""Where a tree stands and how it is reached, in words."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from flask_babel import gettext, ngettext

from audits.messages import Words, say
from audits.planting import place_in_row
from audits.records import DrawTree, LotRange, Row
from audits.vocabulary import SIDE_NAMES, Side
from webapp.extensions import farm
from webapp.reading import words


@dataclass(frozen=True)
class TreePlace:
    """A tree of the walk as the tree screen shows it; `total` counts up to its wave's end."""

    order: int
    total: int
    place_words: str
    side_words: str
    direction_words: str


def tree_place(walk: Sequence[DrawTree], tree: DrawTree, rows: Mapping[int, Row]) -> TreePlace:
    """Return where a tree of the walk stands and how it is reached from the one before it."""
    index = walk.index(tree)
    before = walk[index - 1] if index else None
    row = rows[tree.orchard_row_id]
    return TreePlace(
        order=index + 1,
        total=sum(other.wave <= tree.wave for other in walk),
        place_words=place_words(tree, rows),
        side_words=words().say(SIDE_NAMES[tree.side]),
        direction_words=_direction(walk, before, tree, row),
    )


def place_words(tree: DrawTree, rows: Mapping[int, Row]) -> str:
    """Return row, panel and tree, or the position where no posts are recorded."""
    row = rows[tree.orchard_row_id]
    return f"{row_name(row)}, {position_words(row, tree.position)}"


def position_words(row: Row, position: int) -> str:
    """Return panel and tree, or the position where no posts are recorded."""
    if row.trees_per_panel is None:
        return str(gettext("tree %(position)s", position=position))
    return words().show(place_in_row(position, row.trees_per_panel))


def row_name(row: Row, reader: Words | None = None) -> str:
    """Return the row's number with the farm's own word for a row, if it has one."""
    reader = reader or words()
    own_word = farm().row_word
    if own_word and reader.language != "en":
        return f"{own_word[:1].upper()}{own_word[1:]} {row.number}"
    return reader.say(say("Row %(number)s", number=str(row.number)))


def lot_name(ranges: Sequence[tuple[LotRange, Row]], reader: Words | None = None) -> str:
    """Return the rows of a lot by their numbers."""
    if len(ranges) == 1:
        return row_name(ranges[0][1], reader)
    numbers = ", ".join(str(number) for number in sorted({row.number for _, row in ranges}))
    return (reader or words()).say(say("Rows %(numbers)s", numbers=numbers))


def stretch_words(row: Row, first: int, last: int) -> str:
    """Return a stretch of a row, or that it is the whole row."""
    if (first, last) == (1, row.tree_count):
        return str(gettext("the whole row"))
    span = gettext("trees %(first)s to %(last)s", first=first, last=last)
    if row.trees_per_panel is None:
        return str(span)
    return str(
        gettext(
            "%(span)s (%(start)s to %(end)s)",
            span=span,
            start=position_words(row, first),
            end=position_words(row, last),
        )
    )


def _direction(walk: Sequence[DrawTree], before: DrawTree | None, tree: DrawTree, row: Row) -> str:
    """Return the way to a tree: a leg is walked out from the row's start or back to it."""
    leg = _leg(walk, tree)
    out = _goes_out(leg, tree)
    if before is None or before not in leg:
        if out:
            return str(gettext("out from the start (%(end)s)", end=row.start_end))
        return str(gettext("back to the start (%(end)s)", end=row.start_end))
    trees = abs(tree.position - before.position)
    panels = _panels_between(before, tree, row)
    if panels:
        far = ngettext("%(num)s panel", "%(num)s panels", panels)
    else:
        far = ngettext("%(num)s tree", "%(num)s trees", trees)
    way_on = tree.position > before.position if out else tree.position < before.position
    if not way_on:
        return str(gettext("turn round: %(far)s", far=far))
    return str(gettext("out: %(far)s on", far=far) if out else gettext("back: %(far)s on", far=far))


def _leg(walk: Sequence[DrawTree], tree: DrawTree) -> list[DrawTree]:
    """Return the trees walked in one direction: of a row and wave, or of a row and side."""
    in_row = [other for other in walk if other.orchard_row_id == tree.orchard_row_id]
    if _has_waves(walk):
        return [other for other in in_row if other.wave == tree.wave]
    return [other for other in in_row if other.side is tree.side]


def _goes_out(leg: Sequence[DrawTree], tree: DrawTree) -> bool:
    """Tell whether a leg leads away from its row's start."""
    rising = sum(here.position < there.position for here, there in pairwise(leg))
    falling = sum(here.position > there.position for here, there in pairwise(leg))
    if rising != falling:
        return rising > falling
    # One tree alone, or as many steps either way: as the walk goes in a lot of one row.
    return tree.wave % 2 == 1 if tree.wave > 1 else tree.side is Side.LEFT


def _has_waves(walk: Sequence[DrawTree]) -> bool:
    return any(tree.wave > 1 for tree in walk)


def _panels_between(before: DrawTree, tree: DrawTree, row: Row) -> int:
    if row.trees_per_panel is None:
        return 0
    here = place_in_row(tree.position, row.trees_per_panel).panel
    return abs(here - place_in_row(before.position, row.trees_per_panel).panel)
