"""Blocks and rows as their pages show them."""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from flask_babel import format_date, gettext, ngettext

from audits.messages import Units, say, say_n
from audits.plain_words import against_the_wire
from audits.planting import (
    Planting,
    place_in_row,
    plantings_on,
    ranges_of,
    target_height,
    trees_per_acre,
    trees_per_hectare,
)
from audits.records import Block, Farm, Row, StandardVersion
from audits.services.standards import standard_of
from audits.units import Length
from audits.vocabulary import BEARING_HABIT_NAMES, PLANTING_KIND_NAMES
from webapp.reading import words

Fact = tuple[str, str] | tuple[str, str, str]


@dataclass(frozen=True)
class BlockLine:
    """A block in the list of blocks."""

    id: int
    name: str
    notes: list[str]
    version: int | None
    retired: bool


@dataclass(frozen=True)
class RowLine:
    """A row in the list of a block's rows."""

    id: int
    number: str
    notes: list[str]
    bearing: str


@dataclass(frozen=True)
class VersionLine:
    """A version in the list of a block's standards."""

    number: int
    since: str
    state: str
    in_force: bool
    frozen: bool


@dataclass(frozen=True)
class MapLine:
    """A stretch of a row and what stands there."""

    stretch: str
    place: str | None
    kind: str
    cultivar: str | None
    year: str | None
    since: str


def block_lines(
    blocks: Iterable[Block], rows: Iterable[Row], standards: Mapping[int, StandardVersion]
) -> list[BlockLine]:
    """Return each block with its rows and trees counted and its standard's version."""
    counts: dict[int, list[int]] = {}
    for row in rows:
        counts.setdefault(row.block_id, []).append(row.tree_count)
    return [
        BlockLine(
            id=block.id,
            name=block.name,
            notes=[
                _grown(block),
                _rows_and_positions(counts.get(block.id, [])),
                _spacing(block),
                *_flags(block),
            ],
            version=standards[block.id].version if block.id in standards else None,
            retired=block.retired,
        )
        for block in blocks
    ]


def key_figures(
    block: Block, units: Units, bearing: int, standard: StandardVersion | None
) -> list[Fact]:
    """Return density, target height and the number of bearing trees."""
    reader = words()
    acre = trees_per_acre(block.row_spacing_mm, block.tree_spacing_mm)
    hectare = trees_per_hectare(block.row_spacing_mm, block.tree_spacing_mm)
    per_acre = (reader.show(round(acre)), gettext("trees per acre"))
    per_hectare = (reader.show(round(hectare)), gettext("trees per hectare"))
    first, other = (per_acre, per_hectare) if units is Units.IMPERIAL else (per_hectare, per_acre)
    return [
        (*first, f"{other[0]} {other[1]}"),
        _target(block, standard),
        (reader.show(bearing), ngettext("bearing tree", "bearing trees", bearing)),
    ]


def _target(block: Block, standard: StandardVersion | None) -> Fact:
    """Return the height of the standard in force, or the one it would be without a standard."""
    reader = words()
    customary = target_height(block.row_spacing_mm)
    target = standard_of(standard).top.target_mm if standard else customary
    note = (
        gettext("0.9 times the row spacing")
        if target == customary
        else gettext("as the standard says")
    )
    if block.top_wire_mm is not None:
        note = f"{note}; {reader.say(against_the_wire(target, block.top_wire_mm))}"
    return (reader.show(Length(target)), gettext("target height"), note)


def particulars_of(block: Block, farm: Farm) -> list[tuple[str, str]]:
    """Return everything else that is known of a block."""
    reader = words()
    lines = [
        (gettext("Cultivar"), _grown(block)),
        (gettext("Where it bears"), reader.say(BEARING_HABIT_NAMES[block.habit])),
        (gettext("Spacing"), _spacing(block)),
    ]
    if block.top_wire_mm is not None:
        lines.append((gettext("Height of the top wire"), reader.show(Length(block.top_wire_mm))))
    if block.planting_year is not None:
        lines.append((gettext("Year of planting"), str(block.planting_year)))
    lines.extend((gettext("Pruned lighter"), flag) for flag in _flags(block))
    lines.append(
        (
            gettext("Where an ambulance is sent"),
            block.emergency_location or farm.emergency_location or "-",
        )
    )
    return lines


def row_lines(rows: Iterable[Row], bearing: Mapping[int, Collection[int]]) -> list[RowLine]:
    """Return a block's rows with the bearing trees of each."""
    return [
        RowLine(
            id=row.id,
            number=str(row.number),
            notes=[gettext("starts at %(end)s", end=row.start_end), *_panels(row)],
            bearing=_bearing(len(bearing[row.id]), row.tree_count),
        )
        for row in rows
    ]


def version_lines(
    versions: Sequence[StandardVersion],
    in_force: StandardVersion | None,
    frozen: Collection[int],
    today: date,
) -> list[VersionLine]:
    """Return a block's standards, the latest first, each with where it stands."""
    return [
        VersionLine(
            number=version.version,
            since=format_date(version.in_force_from, "medium"),
            state=version_state(version, in_force, today),
            in_force=version == in_force,
            frozen=version.id in frozen,
        )
        for version in versions
    ]


def version_state(version: StandardVersion, in_force: StandardVersion | None, today: date) -> str:
    """Return where a version stands on a day."""
    if version == in_force:
        return str(gettext("In force"))
    if version.in_force_from > today:
        return str(gettext("Still to come"))
    return str(gettext("Replaced"))


def map_lines(plantings: Sequence[Planting], row: Row, day: date) -> list[MapLine]:
    """Return what stands along a row on a day, alike neighbours joined."""
    stretches: dict[tuple[object, ...], list[int]] = {}
    standing = plantings_on(plantings, day)
    for position, planting in standing.items():
        alike = (planting.kind, planting.cultivar, planting.year, planting.since)
        stretches.setdefault(alike, []).append(position)
    lines = [
        (span.first, _map_line(span.first, span.last, standing[span.first], row))
        for positions in stretches.values()
        for span in ranges_of(positions)
    ]
    return [line for _, line in sorted(lines, key=lambda numbered: numbered[0])]


def history_lines(plantings: Iterable[Planting], row: Row) -> list[MapLine]:
    """Return every entry of a row's map, in the order of their days."""
    return [
        _map_line(planting.first_position, planting.last_position, planting, row)
        for planting in plantings
    ]


def _map_line(first: int, last: int, planting: Planting, row: Row) -> MapLine:
    reader = words()
    place = (
        None
        if row.trees_per_panel is None
        else reader.show(place_in_row(first, row.trees_per_panel))
    )
    return MapLine(
        stretch=str(first) if first == last else f"{first} - {last}",
        place=place,
        kind=reader.say(PLANTING_KIND_NAMES[planting.kind]),
        cultivar=planting.cultivar,
        year=None if planting.year is None else str(planting.year),
        since=format_date(planting.since, "medium"),
    )


def _grown(block: Block) -> str:
    if not block.rootstock:
        return block.cultivar
    return words().say(
        say("%(cultivar)s on %(rootstock)s", cultivar=block.cultivar, rootstock=block.rootstock)
    )


def _spacing(block: Block) -> str:
    return words().say(
        say(
            "%(rows)s x %(trees)s",
            rows=Length(block.row_spacing_mm),
            trees=Length(block.tree_spacing_mm),
        )
    )


def _flags(block: Block) -> list[str]:
    flags = [(block.young, gettext("Young")), (block.low_bloom, gettext("Low bloom"))]
    return [name for holds, name in flags if holds]


def _rows_and_positions(tree_counts: Sequence[int]) -> str:
    if not tree_counts:
        return str(gettext("No rows yet"))
    return words().say(
        say(
            "%(rows)s with %(positions)s positions",
            rows=say_n("%(count)s row", "%(count)s rows", len(tree_counts)),
            positions=sum(tree_counts),
        )
    )


def _panels(row: Row) -> list[str]:
    if row.trees_per_panel is None:
        return []
    trees = row.trees_per_panel
    return [ngettext("%(num)s tree to a panel", "%(num)s trees to a panel", trees)]


def _bearing(bearing: int, positions: int) -> str:
    reader = words()
    trees = say_n("%(count)s bearing tree", "%(count)s bearing trees", bearing)
    if bearing == positions:
        return reader.say(trees)
    return reader.say(say("%(trees)s in %(positions)s positions", trees=trees, positions=positions))
