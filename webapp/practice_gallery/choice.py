"""Which trees the gallery shows, as its address says."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final, TypeVar

from flask import request
from flask_babel import gettext

from audits.practice.growth import Growth
from audits.practice.model import TreeKind, Vigour
from audits.records import Block
from audits.standard import Standard, preset
from audits.vocabulary import BEARING_HABIT_NAMES, BearingHabit
from webapp.practice_gallery.words import VIGOUR_NAMES
from webapp.reading import words

Chosen = TypeVar("Chosen", BearingHabit, Vigour)

AGES: Final = (3, 5, 7, 9, 12)
_USUAL_AGE: Final = 7
# Rows that many farms plant, where no block says how far its own are apart.
_ROWS_MM: Final = 3_352.8
_MOST_NUMBER: Final = 999


@dataclass(frozen=True)
class Choice:
    """What the address asks for; whatever it does not know falls back on what is usual."""

    block: Block | None
    standard: Standard
    habit: BearingHabit
    vigour: Vigour
    age_years: int
    number: int

    def growth(self, kind: TreeKind) -> Growth:
        """Return what a tree of a kind grows from, in this block."""
        return Growth(
            target_mm=self.standard.top.target_mm,
            kind=kind,
            habit=self.habit,
            age_years=self.age_years,
            vigour=self.vigour,
            large_mm=max(4.0, self.standard.limbs.large_mm),
            side_branch_mm=self.standard.columns.side_branch_mm,
            pencil_mm=(self.standard.heading.thinnest_mm, self.standard.heading.thickest_mm),
        )

    @property
    def next_number(self) -> int:
        """The number of the next trees; after the last the first comes again."""
        return self.number + 1 if self.number < _MOST_NUMBER else 1

    @property
    def values(self) -> dict[str, str | int]:
        """What the address of this choice says, but the number."""
        return {
            "block": "" if self.block is None else self.block.id,
            "habit": self.habit,
            "vigour": self.vigour,
            "age": self.age_years,
        }


def chosen_block_id() -> int | None:
    """Return the block that the address names, if it names one."""
    return _number("block")


def read_choice(block: Block | None, standard: Standard | None) -> Choice:
    """Read the address; ``block`` and ``standard`` are those that its block has."""
    own_habit = BearingHabit.STANDARD if block is None else block.habit
    habit = _one_of(BearingHabit, "habit", own_habit)
    age_years = _number("age")
    number = _number("number") or 1
    return Choice(
        block=block,
        standard=standard or preset(habit, _ROWS_MM if block is None else block.row_spacing_mm),
        habit=habit,
        vigour=_one_of(Vigour, "vigour", Vigour.MEDIUM),
        age_years=age_years if age_years in AGES else _USUAL_AGE,
        number=min(number, _MOST_NUMBER),
    )


def _one_of(kinds: Iterable[Chosen], name: str, usual: Chosen) -> Chosen:
    wanted = request.args.get(name, "")
    return next((kind for kind in kinds if kind == wanted), usual)


def _number(name: str) -> int | None:
    text = request.args.get(name, "")
    is_number = text.isascii() and text.isdecimal() and len(text) < len(str(2**31))
    return int(text) if is_number else None


@dataclass(frozen=True)
class Field:
    """A field of the form: its name, its label, and each value with its words."""

    name: str
    label: str
    options: list[tuple[str, str, bool]]


def choice_fields(choice: Choice, blocks: list[Block]) -> list[Field]:
    """Return the fields of the form, with what is chosen."""
    say = words().say
    of_block = [("", gettext("No block"), choice.block is None)]
    of_block += [(str(block.id), block.name, block == choice.block) for block in blocks]
    return [
        Field("block", gettext("Standard of"), of_block),
        Field(
            "habit",
            gettext("Bearing habit"),
            [
                (habit, say(BEARING_HABIT_NAMES[habit]), habit is choice.habit)
                for habit in BearingHabit
            ],
        ),
        Field(
            "vigour",
            gettext("Vigour"),
            [(vigour, say(VIGOUR_NAMES[vigour]), vigour is choice.vigour) for vigour in Vigour],
        ),
        Field(
            "age",
            gettext("Years since planting"),
            [(str(age), words().show(age), age == choice.age_years) for age in AGES],
        ),
    ]
