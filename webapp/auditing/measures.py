"""Measured stages: their entries on the tree screen, and what is read from and written to them."""

import re
from collections.abc import Mapping
from typing import Any, Final

from flask_babel import lazy_gettext
from werkzeug.datastructures import MultiDict
from wtforms import BooleanField, Field, Form, RadioField, SelectMultipleField, StringField
from wtforms.widgets import CheckboxInput, ListWidget

from audits.errors import InvalidInput
from audits.messages import Message, Units, Words, mark, say
from audits.scoring import (
    ColumnsMeasure,
    HeadingMeasure,
    LimbsMeasure,
    Measure,
    TopMeasure,
)
from audits.standard import Standard, asks_for_side_branch
from audits.units import LengthError, LengthKind, LengthUnit, parse_length, write_length
from audits.vocabulary import FAULT_NAMES, STAGE_FAULTS, Fault, HeadingRule, Method, Stage

_MOST_COUNTED: Final = 12
_THICKEST_MM: Final = 200.0
_TALLEST_MM: Final = 15_000.0

# Faults of the cuts themselves, which no count or diameter shows.
_CUT_FAULTS: Final = (Fault.FLUSH_CUT, Fault.LOW_STUB, Fault.LONG_STUB, Fault.TORN_BARK)

# A semicolon, or a comma followed by a blank: a bare comma may be a decimal mark.
_BETWEEN: Final = re.compile(r";|,(?=\s)")
_TWO_IN_ONE: Final = re.compile(r"\d+[.,]\d{2,}")

_SIDE_BRANCH: Final = "side_branch"
_BLUNT: Final = "blunt"
_UNCUT: Final = "uncut"
_CUT_NAMES: Final = {
    _SIDE_BRANCH: mark("Cut to a side branch"),
    _BLUNT: mark("Blunt cut"),
    _UNCUT: mark("Not cut this pass"),
}
_LEVEL_CUT_NAMES: Final = {_SIDE_BRANCH: mark("Cut"), _UNCUT: mark("Not cut this pass")}


class _NamedFaults(SelectMultipleField):
    """Several faults as check boxes."""

    widget = ListWidget(prefix_label=False)
    option_widget = CheckboxInput()


class _TopEntries(Form):
    top_height = StringField(lazy_gettext("Height of the highest wood left"))
    top_cut = RadioField(lazy_gettext("The cut"), default=_SIDE_BRANCH)
    top_leader_young = BooleanField(lazy_gettext("Leader taken too young"))


class _LimbsEntries(Form):
    limbs_cut = StringField(
        lazy_gettext("Fresh trunk cuts"),
        description=lazy_gettext("Each diameter, a semicolon between two; 0 for none."),
    )
    limbs_standing = StringField(
        lazy_gettext("Thickest limbs still standing"),
        description=lazy_gettext("Each diameter, a semicolon between two; 0 for none."),
    )
    limbs_seen = _NamedFaults(lazy_gettext("Faults of the cuts"))


class _ColumnsEntries(Form):
    columns_looked_at = StringField(
        lazy_gettext("Branches looked at"), render_kw={"inputmode": "numeric"}
    )
    columns_single = StringField(
        lazy_gettext("Single columns among them"), render_kw={"inputmode": "numeric"}
    )
    columns_seen = _NamedFaults(lazy_gettext("Faults of the others"))


class _HeadingEntries(Form):
    heading_diameters = StringField(
        lazy_gettext("Diameters just behind the cuts"),
        description=lazy_gettext("Each diameter, a semicolon between two; 0 for none."),
    )
    heading_left_long = StringField(
        lazy_gettext("Due branches left long"), render_kw={"inputmode": "numeric"}
    )


_ENTRIES: Final[dict[Stage, type[Form]]] = {
    Stage.TOP: _TopEntries,
    Stage.LIMBS: _LimbsEntries,
    Stage.COLUMNS: _ColumnsEntries,
    Stage.HEADING: _HeadingEntries,
}

# The entries that show, when anything is typed there, that the stage was measured.
_TELLING: Final = {
    Stage.TOP: ("top_height",),
    Stage.LIMBS: ("limbs_cut", "limbs_standing"),
    Stage.COLUMNS: ("columns_looked_at", "columns_single"),
    Stage.HEADING: ("heading_diameters", "heading_left_long"),
}


def is_measurable(stage: Stage, standard: Standard) -> bool:
    """Tell whether a stage has anything to measure: a heading that is forbidden has not."""
    return stage is not Stage.HEADING or standard.heading.rule is not HeadingRule.FORBIDDEN


def is_only_measured(stage: Stage, standard: Standard) -> bool:
    """Tell whether the standard takes nothing but measures for a stage."""
    return standard.rule(stage).measured and is_measurable(stage, standard)


def is_measured(form: MultiDict[str, str], stage: Stage) -> bool:
    """Tell whether anything was typed into a stage's measures."""
    return any(form.get(name, "").strip() for name in _TELLING[stage])


def measure_fields(
    stage: Stage,
    standard: Standard,
    method: Method,
    form: MultiDict[str, str],
    problems: Mapping[str, Message],
    words: Words,
) -> list[Field]:
    """Return the entries of a stage's measures, filled from the form, each with its problem."""
    if not is_measurable(stage, standard):
        return []
    entries = _ENTRIES[stage]()
    if stage is Stage.TOP:
        level = not asks_for_side_branch(standard, method)
        names = _LEVEL_CUT_NAMES if level else _CUT_NAMES
        entries.top_cut.choices = [(value, words.say(name)) for value, name in names.items()]
    for name, faults in (
        ("limbs_seen", _CUT_FAULTS),
        ("columns_seen", STAGE_FAULTS[Stage.COLUMNS]),
    ):
        if name in entries:
            entries[name].choices = [(fault, words.say(FAULT_NAMES[fault])) for fault in faults]
    entries.process(form if is_measured(form, stage) else None)
    for name, problem in problems.items():
        if name in entries:
            entries[name].errors = [words.say(problem)]
    return list(entries)


def read_measure(
    form: MultiDict[str, str], stage: Stage, standard: Standard, units: Units, method: Method
) -> dict[str, Any] | None:
    """
    Read a stage's measures into the payload of its measure; None when nothing was typed.

    Raises InvalidInput with a sentence at each entry that cannot be read.
    """
    if not is_measurable(stage, standard) or not is_measured(form, stage):
        return None
    reading = _Reading(form, units)
    match stage:
        case Stage.TOP:
            measure = _read_top(reading, standard, method)
        case Stage.LIMBS:
            measure = {
                "cut_mm": reading.diameters("limbs_cut"),
                "standing_mm": reading.diameters("limbs_standing"),
                "faults": reading.faults("limbs_seen", _CUT_FAULTS),
            }
        case Stage.COLUMNS:
            measure = {
                "looked_at": reading.count("columns_looked_at"),
                "single": reading.count("columns_single"),
                "faults": reading.faults("columns_seen", STAGE_FAULTS[Stage.COLUMNS]),
            }
        case Stage.HEADING:
            measure = {
                "diameters_mm": reading.diameters("heading_diameters"),
                "left_long": reading.count("heading_left_long"),
            }
    if reading.problems:
        raise InvalidInput(reading.problems)
    return {"kind": str(stage), **measure}


def write_measure(answer: Measure, words: Words) -> MultiDict[str, str]:
    """Write a stored measure as the entries that `read_measure` reads it from."""

    def diameters(values: tuple[float, ...]) -> str:
        kind, locale = LengthKind.DIAMETER, words.locale
        texts = [write_length(mm, words.units, kind=kind, locale=locale) for mm in values]
        return "; ".join(texts) or "0"

    form: MultiDict[str, str] = MultiDict()
    match answer:
        case TopMeasure():
            form["top_height"] = write_length(answer.height_mm, words.units, locale=words.locale)
            cut = _SIDE_BRANCH if answer.to_side_branch else _BLUNT
            form["top_cut"] = cut if answer.topped else _UNCUT
            if answer.leader_young:
                form["top_leader_young"] = "y"
        case LimbsMeasure():
            form["limbs_cut"] = diameters(answer.cut_mm)
            form["limbs_standing"] = diameters(answer.standing_mm)
            form.setlist("limbs_seen", list(answer.faults))
        case ColumnsMeasure():
            form["columns_looked_at"] = str(answer.looked_at)
            form["columns_single"] = str(answer.single)
            form.setlist("columns_seen", list(answer.faults))
        case HeadingMeasure():
            form["heading_diameters"] = diameters(answer.diameters_mm)
            form["heading_left_long"] = str(answer.left_long)
    return form


def _read_top(reading: "_Reading", standard: Standard, method: Method) -> dict[str, Any]:
    cut = reading.form.get("top_cut", _SIDE_BRANCH)
    return {
        "height_mm": reading.height("top_height"),
        "topped": cut != _UNCUT,
        "to_side_branch": cut != _BLUNT or not asks_for_side_branch(standard, method),
        "leader_young": bool(reading.form.get("top_leader_young")),
    }


class _Reading:
    """Reads entries one by one and keeps a sentence for each that cannot be read."""

    def __init__(self, form: MultiDict[str, str], units: Units) -> None:
        self.form = form
        self.units = units
        self.problems: dict[str, Message] = {}

    def height(self, name: str) -> float:
        """Return a height in mm."""
        return self._length(name, self.form.get(name, ""), LengthKind.HEIGHT, _TALLEST_MM)

    def diameters(self, name: str) -> list[float]:
        """Return diameters in mm; 0 stands for none."""
        text = self.form.get(name, "").strip()
        if not text:
            self.problems[name] = say("Write 0 if there is none.")
            return []
        if text == "0":
            return []
        return [self._diameter(name, part) for part in _BETWEEN.split(text) if part.strip()]

    def count(self, name: str) -> int:
        """Return a count."""
        text = self.form.get(name, "").strip()
        if not text:
            self.problems[name] = say("Write 0 if there is none.")
            return 0
        if not (text.isascii() and text.isdecimal() and int(text[:4]) <= _MOST_COUNTED):
            self.problems[name] = say(
                "Write a whole number from 0 to %(most)s.", most=_MOST_COUNTED
            )
            return 0
        return int(text)

    def faults(self, name: str, possible: tuple[Fault, ...]) -> list[Fault]:
        """Return the faults named."""
        return [fault for fault in possible if fault in self.form.getlist(name)]

    def _diameter(self, name: str, text: str) -> float:
        metric = self.units is Units.METRIC
        bare = LengthUnit.MILLIMETRE if metric else LengthUnit.INCH
        if metric and _TWO_IN_ONE.fullmatch(text.strip()):
            # Nobody measures wood to a hundredth: these are two numbers run together.
            self.problems[name] = say("Put a semicolon between two diameters: 20; 22.")
            return 0.0
        return self._length(name, text, LengthKind.DIAMETER, _THICKEST_MM, bare)

    def _length(
        self,
        name: str,
        text: str,
        kind: LengthKind,
        longest_mm: float,
        bare_unit: LengthUnit | None = None,
    ) -> float:
        try:
            return parse_length(
                text, self.units, kind=kind, bare_unit=bare_unit, longest_mm=longest_mm
            )
        except LengthError as error:
            self.problems[name] = error.message
            return 0.0
