"""A paper sheet typed in: its cells, and what is read from and written to them."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

from werkzeug.datastructures import MultiDict

from audits.errors import InvalidInput
from audits.messages import Message, Words, say
from audits.records import DrawTree
from audits.scoring import (
    GAUGE,
    WHOLE_TREE_STAGES,
    ClassAnswer,
    Missed,
    Tap,
    TreeAnswers,
    read_answers,
    score_tree,
)
from audits.services.auditing import AuditView
from audits.vocabulary import STAGE_NAMES, Fault, PlantingKind, Stage
from printables.tally_letters import (
    NOTHING_LETTER,
    RIGHT_LETTERS,
    SIDE_MISSED_SIGN,
    TREE_MISSED_SIGN,
    fault_letters,
    faults_by_letter,
    kinds_by_letter,
    right_letter,
)
from printables.tally_records import BESIDE_MEASURES, MEASURE_BOXES, MEASURE_LABELS, TallyColumn
from webapp.auditing.entry import as_form, read_entry
from webapp.auditing.samples import Sample

# Stands for an answer that was measured where the sheet has boxes: it is kept as it is.
AS_MEASURED: Final = "="

MISSED: Final = "missed"

# Stands where a person has to say whether a tree was missed; it is never taken for an answer.
UNCLEAR: Final = "?"

_BETWEEN_LETTERS: Final = str.maketrans("", "", " ,;+.")
_MISSED_SIGNS: Final = {TREE_MISSED_SIGN: Missed.TREE, SIDE_MISSED_SIGN: Missed.SIDE}
_LONGEST: Final = 60

# The boxes of a measured stage, as the sheet has them.
_MEASURES: Final = {
    stage: tuple(f"{stage}_{name}" for name in names) for stage, names in MEASURE_BOXES.items()
}


@dataclass(frozen=True)
class DeskReading:
    """
    What was typed.

    `entries` are the payloads of trees to be stored, by the draw tree's id, in the order of the
    sheet; `replaced` the trees that are none; `problems` what cannot be taken, by cell.
    """

    entries: dict[int, dict[str, Any]] = field(default_factory=dict)
    replaced: dict[int, PlantingKind] = field(default_factory=dict)
    problems: dict[str, Message] = field(default_factory=dict)


@dataclass(frozen=True)
class DeskSheet:
    """The sheet of an audit: its columns, and its trees as they were drawn."""

    view: AuditView
    sample: Sample
    columns: Sequence[TallyColumn]
    words: Words

    @property
    def rows(self) -> list[DrawTree]:
        """The trees as on paper: the walk as drawn, then the reserve."""
        return list(self.sample.drawn)

    def is_in_walk(self, tree: DrawTree) -> bool:
        """Tell whether a tree is walked to, drawn so or come instead of another."""
        return any(other.id == tree.id for other in self.view.walk)

    def stored(self, tree: DrawTree) -> dict[str, str]:
        """Return what is stored of a tree as it would be typed, by the cell's name."""
        answers = self.view.answers.get(tree.id)
        typed = dict.fromkeys(cell_names(tree, self.columns), "")
        if answers is None:
            return typed
        form = as_form(answers, self.view.book.standard, self.words)
        for column in self.columns:
            written = _write_stage(column, answers, form, self.words.language)
            typed |= {cell_name(tree, name): value for name, value in written.items()}
        signs = {missed: sign for sign, missed in _MISSED_SIGNS.items()}
        if answers.missed is not None:
            typed[cell_name(tree, MISSED)] = signs[answers.missed]
        return typed


def cell_name(tree: DrawTree, name: str) -> str:
    """Return the name of a cell."""
    return f"t{tree.id}-{name}"


def boxes_of(column: TallyColumn) -> Mapping[str, str]:
    """Return the boxes of a stage: the name of each, and what is written into it if measured."""
    if not column.is_measured:
        return {str(column.stage): ""}
    return dict(zip(_MEASURES[column.stage], MEASURE_LABELS[column.stage], strict=True))


def cell_names(tree: DrawTree, columns: Iterable[TallyColumn]) -> list[str]:
    """Return the names of a tree's cells from left to right."""
    names = [name for column in columns for name in boxes_of(column)]
    return [cell_name(tree, name) for name in (*names, MISSED)]


def typed_cells(sheet: DeskSheet, form: MultiDict[str, str]) -> dict[str, str]:
    """Return every cell of the posted form, as it was typed."""
    names = [name for tree in sheet.rows for name in cell_names(tree, sheet.columns)]
    return {name: form[name] for name in names if name in form}


def shows_fault(stage: Stage, typed: str, missed: str) -> bool:
    """Tell whether a cell makes its tree one with a fault, as somebody counts on paper."""
    if missed == TREE_MISSED_SIGN:
        return True
    if missed == SIDE_MISSED_SIGN and stage not in WHOLE_TREE_STAGES:
        return True
    letters = set(_plain(typed))
    return bool(letters) and letters <= set(faults_by_letter(stage))


def read_desk(sheet: DeskSheet, typed: Mapping[str, str], gauge: str = "") -> DeskReading:
    """
    Read the cells whose rows were changed; everything that cannot be taken is named at once.

    `gauge` is what was chosen for the diameters of this sheet.
    """
    reading = DeskReading()
    kinds = kinds_by_letter()
    changed = []
    for tree in sheet.rows:
        stored = sheet.stored(tree)
        now = {name: typed.get(name, before) for name, before in stored.items()}
        if {name: value.strip() for name, value in now.items()} == stored:
            continue
        changed.append((tree, now))
        kind = kinds.get(_plain(now[cell_name(tree, MISSED)]))
        if kind is not None:
            reading.replaced[tree.id] = kind
    for tree, now in changed:
        _read_row(sheet, tree, now, gauge, reading)
    return reading


def _read_row(
    sheet: DeskSheet, tree: DrawTree, now: Mapping[str, str], gauge: str, reading: DeskReading
) -> None:
    too_long = next((name for name, value in now.items() if len(value) > _LONGEST), None)
    if too_long is not None:
        reading.problems[too_long] = say("This is too long for a box.")
        return
    if tree.id in reading.replaced:
        problem = _problem_of_replacing(sheet, tree, now, reading)
        if problem is not None:
            reading.problems[cell_name(tree, MISSED)] = problem
        return
    if not _is_answerable(sheet, tree, reading):
        reading.problems[_first_cell(tree, now)] = say(
            "This reserve tree stands for none: write first which position above has no tree."
        )
        return
    if not any(value.strip() for value in now.values()):
        reading.problems[_first_cell(tree, now, typed=False)] = say(
            "This tree has answers already. They can be changed here, not taken back."
        )
        return
    form, problems = _form_of(sheet, tree, now)
    form[GAUGE] = gauge
    if not problems:
        problems = _unanswered(sheet, tree, form)
    if not problems:
        try:
            reading.entries[tree.id] = _payload(sheet, tree, form)
        except InvalidInput as error:
            if GAUGE in error.problems:
                # Asked once for the sheet, and so told once.
                reading.problems[GAUGE] = error.problems[GAUGE]
                return
            problems = {_box_of(sheet, name): problem for name, problem in error.problems.items()}
    reading.problems.update({cell_name(tree, name): problem for name, problem in problems.items()})


def _problem_of_replacing(
    sheet: DeskSheet, tree: DrawTree, now: Mapping[str, str], reading: DeskReading
) -> Message | None:
    """Say why a tree cannot be replaced by one of the reserve, if so."""
    if not sheet.is_in_walk(tree):
        return say("This tree is not in the walk of this audit.")
    others = (value for name, value in now.items() if name != cell_name(tree, MISSED))
    if any(value.strip() for value in others):
        return say(
            "Where no tree for this standard stands there is nothing to answer: empty the other "
            "boxes of this row, or this one."
        )
    if list(reading.replaced).index(tree.id) >= len(sheet.sample.reserve):
        return say("The reserve is used up, so this tree cannot be replaced.")
    return None


def _is_answerable(sheet: DeskSheet, tree: DrawTree, reading: DeskReading) -> bool:
    """Tell whether a tree is in the walk, or will be once the others of this sheet are replaced."""
    if sheet.is_in_walk(tree):
        return True
    coming = sheet.sample.reserve[: len(reading.replaced)]
    return any(other.id == tree.id for other in coming)


def _first_cell(tree: DrawTree, now: Mapping[str, str], *, typed: bool = True) -> str:
    names = [name for name, value in now.items() if value.strip() or not typed]
    return next(iter(names), cell_name(tree, MISSED))


def _payload(sheet: DeskSheet, tree: DrawTree, form: MultiDict[str, str]) -> dict[str, Any]:
    book = sheet.view.book
    payload = read_entry(
        form,
        book.standard,
        sheet.words.units,
        method=book.crew_pass.method,
        stages=book.draw.stages,
        may_skip=set(book.draw.stages),
    )
    # What the scoring engine will not take is named at its box, as long as the tree is known.
    answers = read_answers(payload)
    score_tree(book.standard, answers, method=book.crew_pass.method, stages=book.draw.stages)
    kept = sheet.view.answers.get(tree.id)
    if kept is not None and kept.has_diameters and kept.diameters_mm == answers.diameters_mm:
        # Another box of the row was changed; the diameters are those measured before.
        payload[GAUGE] = kept.gauge
    return payload


def _unanswered(sheet: DeskSheet, tree: DrawTree, form: MultiDict[str, str]) -> dict[str, Message]:
    """Say which boxes must be filled; whether a stage is decided is known once all is stored."""
    missed = form.get("missed")
    given = sheet.view.answers.get(tree.id)
    answered = set() if given is None else set(given.stages)
    may_skip = sheet.view.book.standard.skip_decided
    problems = {}
    for column in sheet.columns:
        stage = column.stage
        if missed == Missed.TREE or (missed == Missed.SIDE and stage not in WHOLE_TREE_STAGES):
            continue
        if any(form.get(name, "").strip() for name in _form_fields(column)):
            continue
        if stage in answered or not may_skip:
            problems[next(iter(boxes_of(column)))] = say(
                "Write an answer, or leave the whole row empty."
            )
    return problems


def _form_fields(column: TallyColumn) -> tuple[str, ...]:
    """Return the fields of a stage in the form of one tree."""
    return (str(column.stage), *_MEASURES[column.stage])


def _box_of(sheet: DeskSheet, name: str) -> str:
    """Return the box at which a problem with an entry of the tree's form is shown."""
    for column in sheet.columns:
        boxes = boxes_of(column)
        if name == column.stage:
            return next(iter(boxes))
        if name.startswith(f"{column.stage}_") and name not in boxes:
            return list(boxes)[-1]
    return name


# --- from cells to the form of one tree ----------------------------------------------------------


def _form_of(
    sheet: DeskSheet, tree: DrawTree, now: Mapping[str, str]
) -> tuple[MultiDict[str, str], dict[str, Message]]:
    """Write a row as the form that the tree's own screen would post."""
    form: MultiDict[str, str] = MultiDict()
    problems: dict[str, Message] = {}
    sign = now[cell_name(tree, MISSED)].strip()
    missed = _MISSED_SIGNS.get(sign)
    if missed is not None:
        form["missed"] = missed
    elif sign == UNCLEAR:
        problems[MISSED] = say(
            "Look whether this was marked, and type what stands there; empty the box if nothing"
            " does."
        )
    elif sign:
        problems[MISSED] = say(
            '"%(typed)s" means nothing here. Write %(tree)s for a missed tree, %(side)s for a '
            "missed side, or the letter of what stands there instead.",
            typed=sign,
            tree=TREE_MISSED_SIGN,
            side=SIDE_MISSED_SIGN,
        )
    for column in sheet.columns:
        cells = {name: now[cell_name(tree, name)].strip() for name in boxes_of(column)}
        if not any(cells.values()):
            continue
        if missed is Missed.TREE or (
            missed is Missed.SIDE and column.stage not in WHOLE_TREE_STAGES
        ):
            problems[next(name for name, value in cells.items() if value)] = say(
                "This was missed, so it has no answer: empty this box, or the one that says missed."
            )
            continue
        try:
            _fill_stage(form, sheet, tree, column, cells)
        except InvalidInput as error:
            problems.update(error.problems)
    return form, problems


def _fill_stage(
    form: MultiDict[str, str],
    sheet: DeskSheet,
    tree: DrawTree,
    column: TallyColumn,
    cells: Mapping[str, str],
) -> None:
    if column.is_measured:
        _fill_measures(form, column, cells)
        return
    stage = column.stage
    typed = cells[str(stage)]
    if typed == AS_MEASURED:
        answers = sheet.view.answers.get(tree.id)
        kept = as_form(answers, sheet.view.book.standard, sheet.words) if answers else MultiDict()
        for name in (
            *_MEASURES[stage],
            "top_cut",
            "top_leader_young",
            "limbs_seen",
            "columns_seen",
        ):
            if name.startswith(str(stage)) and name in kept:
                form.setlist(name, kept.getlist(name))
        return
    _fill_tile(form, column, _plain(typed))


def _fill_tile(form: MultiDict[str, str], column: TallyColumn, typed: str) -> None:
    stage = column.stage
    for answer in column.answers:
        if answer.tap is not Tap.FAULT and typed in _keys_of(answer.tap, answer.label):
            form[str(stage)] = answer.label if answer.label.isdecimal() else answer.tap
            return
    meant = faults_by_letter(stage)
    faults = [meant.get(letter) for letter in typed]
    if not faults or any(fault not in column.faults for fault in faults):
        raise InvalidInput(
            {
                str(stage): say(
                    '"%(typed)s" is no answer for this stage: %(stage)s. The keys stand above.',
                    typed=typed,
                    stage=say(STAGE_NAMES[stage]),
                )
            }
        )
    form[str(stage)] = Tap.FAULT
    form.setlist(f"{stage}_faults", [str(fault) for fault in faults])


def _fill_measures(
    form: MultiDict[str, str], column: TallyColumn, cells: Mapping[str, str]
) -> None:
    stage = column.stage
    for name, value in cells.items():
        if name.endswith("_letters"):
            _fill_letters(form, stage, name, _plain(value))
        else:
            form[name] = value


def _fill_letters(form: MultiDict[str, str], stage: Stage, name: str, letters: str) -> None:
    """Write the letters beside measures: what no measure shows."""
    meant = faults_by_letter(stage)
    faults = []
    for letter in letters:
        if letter == NOTHING_LETTER and stage is Stage.TOP:
            form["top_cut"] = "uncut"
        elif meant.get(letter) in BESIDE_MEASURES[stage]:
            faults.append(meant[letter])
        else:
            raise InvalidInput(
                {name: say('"%(letter)s" is no letter beside these measures.', letter=letter)}
            )
    if stage is not Stage.TOP:
        form.setlist(f"{stage}_seen", [str(fault) for fault in faults])
        return
    if Fault.BLUNT in faults:
        form["top_cut"] = "blunt"
    if Fault.LEADER_YOUNG in faults:
        form["top_leader_young"] = "y"


def _plain(typed: str) -> str:
    return typed.upper().translate(_BETWEEN_LETTERS)


def _keys_of(tap: Tap, label: str) -> set[str]:
    """Return what may be typed for a box."""
    if tap is Tap.RIGHT:
        return {label} if label.isdecimal() else set(RIGHT_LETTERS.values())
    return {NOTHING_LETTER}


def keys_of(column: TallyColumn) -> tuple[str, str]:
    """Return the keys of a stage in every language: answers, with a blank between, and faults."""
    answers: dict[str, None] = {}
    for answer in column.answers:
        if answer.tap is not Tap.FAULT:
            answers |= dict.fromkeys(sorted(_keys_of(answer.tap, answer.label)))
    faults = [
        letter for letter, fault in faults_by_letter(column.stage).items() if fault in column.faults
    ]
    return " ".join(answers), "".join(faults)


# --- from stored answers to cells ----------------------------------------------------------------


def _write_stage(
    column: TallyColumn, answers: TreeAnswers, form: MultiDict[str, str], language: str
) -> dict[str, str]:
    """Return what would be typed into the boxes of a stage."""
    stage = column.stage
    answer = answers.stages.get(stage)
    if answer is None:
        return {}
    if column.is_measured:
        return {
            name: _letters_beside(stage, form, language)
            if name.endswith("_letters")
            else form.get(name, "")
            for name in boxes_of(column)
        }
    if not isinstance(answer, ClassAnswer):
        return {str(stage): AS_MEASURED}
    if answer.tap is Tap.FAULT:
        letters = fault_letters(stage, language)
        return {str(stage): "".join(letters[fault] for fault in answer.faults)}
    if answer.tap is not Tap.RIGHT:
        return {str(stage): NOTHING_LETTER}
    value = form[str(stage)]
    return {str(stage): value if value.isdecimal() else right_letter(language)}


def _letters_beside(stage: Stage, form: MultiDict[str, str], language: str) -> str:
    letters = fault_letters(stage, language)
    if stage is not Stage.TOP:
        return "".join(letters[Fault(fault)] for fault in form.getlist(f"{stage}_seen"))
    cut = {"uncut": NOTHING_LETTER, "blunt": letters[Fault.BLUNT]}.get(form.get("top_cut", ""), "")
    young = letters[Fault.LEADER_YOUNG] if form.get("top_leader_young") else ""
    return cut + young
