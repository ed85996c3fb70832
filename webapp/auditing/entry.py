"""
One tree as it is entered: the posted form read into answers, and the tiles that ask for them.

Audits, start checks and amendments share this. The form of a tree is the one that
templates/field/tree.html documents; `as_form` writes stored answers as the form that gives them.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from markupsafe import Markup
from werkzeug.datastructures import MultiDict
from wtforms import Field

from audits.errors import InvalidInput
from audits.messages import Message, Units, Words, mark, say
from audits.scoring import (
    DIAMETER_LISTS,
    GAUGE,
    WHOLE_TREE_STAGES,
    ClassAnswer,
    Missed,
    Tap,
    TreeAnswers,
    possible_faults,
    read_answers,
    score_tree,
)
from audits.standard import LimbsRule, Standard
from audits.vocabulary import (
    FAULT_NAMES,
    RESULT_NAMES,
    STAGE_NAMES,
    Fault,
    HeadingRule,
    Method,
    Result,
    Stage,
)
from printables.drawing.pictograms import stage_pictogram
from printables.drawing.svg import to_svg
from webapp.auditing.measures import (
    is_measured,
    is_only_measured,
    measure_fields,
    read_measure,
    write_measure,
)

# The row of a stage has room for four tiles on the narrowest phone.
_MOST_TILES: Final = 4
# Nine digits are within what a database numbers.
_MOST_DIGITS: Final = 9

TAP_NAMES: Final = {
    Tap.RIGHT: RESULT_NAMES[Result.CONFORMING],
    Tap.NOTHING_DUE: RESULT_NAMES[Result.NOT_DUE],
    Tap.FEWER_NONE_LEFT: mark("Fewer, none left"),
    Tap.FAULT: RESULT_NAMES[Result.NONCONFORMING],
}
_SIDE_MISSED: Final = mark("Side missed")


@dataclass(frozen=True)
class Tile:
    """One answer of a stage as a tile."""

    value: str
    label: str
    shape: str
    selected: bool


@dataclass(frozen=True)
class FaultName:
    """One fault of a stage, to be named."""

    value: str
    name: str
    selected: bool


@dataclass(frozen=True)
class StagePanel:
    """One stage of the tree screen."""

    key: str
    name: str
    pictogram: Markup
    tiles: Sequence[Tile]
    faults: Sequence[FaultName]
    decided: bool
    decided_words: str
    error: str | None
    measures: Sequence[Field]
    shows_measures: bool


def read_entry(
    form: MultiDict[str, str],
    standard: Standard,
    units: Units,
    *,
    method: Method = Method.LADDER,
    stages: Sequence[Stage] | None = None,
    may_skip: Collection[Stage] = (),
) -> dict[str, Any]:
    """
    Read the posted form of one tree into the payload of `audits.scoring.TreeAnswers`.

    `stages` are those asked for, by default all in use; those in `may_skip` may stay without an
    answer and then record nothing. Raises InvalidInput with a sentence at each stage, or at the
    measure, that cannot be taken.
    """
    missed = read_missed(form)
    asked = standard.stages_in_use if stages is None else tuple(stages)
    answers: dict[str, Any] = {}
    problems: dict[str, Message] = {}
    for stage in asked:
        if _is_missed(stage, missed):
            continue
        try:
            answer = _read_stage(form, stage, standard, units, method)
        except InvalidInput as error:
            problems.update(error.problems)
            continue
        if answer is not None:
            answers[str(stage)] = answer
        elif stage not in may_skip:
            problems[str(stage)] = _unanswered(stage, standard, missed)
    gauge = _read_gauge(form, problems) if names_diameters(answers) else {}
    if problems:
        raise InvalidInput(problems)
    return {"missed": missed, "stages": answers, **gauge}


def read_missed(form: MultiDict[str, str]) -> Missed | None:
    """
    Return what was missed: the key pressed, or else what was kept from before.

    Pressing the chosen key again takes it back, and so does any answer on a tree that was missed
    as a whole.
    """
    kept = _missed(form.get("kept_missed"))
    pressed = _missed(form.get("missed"))
    if pressed is not None:
        return None if pressed is kept else pressed
    if kept is Missed.TREE and any(form.get(stage) for stage in Stage):
        return None
    return kept


def as_form(answers: TreeAnswers, standard: Standard, words: Words) -> MultiDict[str, str]:
    """Write stored answers as the form that `read_entry` reads them from."""
    form: MultiDict[str, str] = MultiDict()
    if answers.missed is not None:
        form["kept_missed"] = answers.missed
    if answers.has_diameters:
        form[GAUGE] = "" if answers.gauge is None else str(answers.gauge)
    for stage, answer in answers.stages.items():
        if not isinstance(answer, ClassAnswer):
            form.update(write_measure(answer, words))
            continue
        form[stage] = _tile_of(answer, standard.limbs) if stage is Stage.LIMBS else answer.tap
        form.setlist(f"{stage}_faults", list(answer.faults))
    return form


def stage_panels(
    standard: Standard,
    method: Method,
    selected: MultiDict[str, str],
    decided: Mapping[Stage, str],
    words: Words,
    *,
    stages: Sequence[Stage] | None = None,
    problems: Mapping[str, Message] | None = None,
) -> list[StagePanel]:
    """
    Return the panels of the tree screen, from the top of the tree down.

    `selected` is the posted form, what `as_form` returned, or empty. `decided` has the words for
    stages that are no longer asked for. `problems` are those of an InvalidInput.
    """
    missed = read_missed(selected)
    asked = standard.stages_in_use if stages is None else tuple(stages)
    settled = dict(decided)
    if missed is Missed.SIDE:
        settled |= {stage: words.say(_SIDE_MISSED) for stage in asked if _is_missed(stage, missed)}
    return [
        _panel(stage, standard, method, selected, settled.get(stage, ""), words, problems or {})
        for stage in asked
    ]


def names_diameters(stages: Mapping[str, Mapping[str, Any]]) -> bool:
    """Tell whether any diameter is among answers by stage that are not looked through yet."""
    return any(answer.get(name) for answer in stages.values() for name in DIAMETER_LISTS)


def _read_gauge(form: MultiDict[str, str], problems: dict[str, Message]) -> dict[str, int]:
    """Return the gauge that diameters were measured with; whether it may be used is not asked."""
    text = form.get(GAUGE, "")
    if not text:
        return {}
    if not (text.isascii() and text.isdecimal() and len(text) <= _MOST_DIGITS and int(text)):
        problems[GAUGE] = say("Choose one of the gauges, or the caliper.")
        return {}
    return {GAUGE: int(text)}


def _panel(
    stage: Stage,
    standard: Standard,
    method: Method,
    selected: MultiDict[str, str],
    decided_words: str,
    words: Words,
    problems: Mapping[str, Message],
) -> StagePanel:
    name = words.say(STAGE_NAMES[stage])
    measures = measure_fields(stage, standard, method, selected, problems, words)
    only_measured = is_only_measured(stage, standard)
    faults = possible_faults(standard, stage, method)
    return StagePanel(
        key=stage,
        name=name,
        pictogram=Markup(  # noqa: S704 - the drawing layer escapes what it writes
            to_svg(stage_pictogram(stage, name), id_prefix=f"stage-{stage}", decorative=True)
        ),
        tiles=() if only_measured else _tiles(stage, standard, selected, words),
        # A stage with one possible fault needs no naming.
        faults=()
        if only_measured or len(faults) == 1
        else [
            FaultName(fault, words.say(FAULT_NAMES[fault]), _is_named(selected, stage, fault))
            for fault in faults
        ],
        decided=bool(decided_words),
        decided_words=decided_words,
        error=_first_problem(stage, problems, words),
        measures=measures,
        shows_measures=only_measured
        or (bool(measures) and is_measured(selected, stage))
        or any(entry.errors for entry in measures),
    )


def _tiles(
    stage: Stage, standard: Standard, selected: MultiDict[str, str], words: Words
) -> list[Tile]:
    chosen = selected.get(stage)

    def tile(value: str, shape: str, label: str) -> Tile:
        return Tile(value, label, shape, selected=chosen == value)

    def named(tap: Tap, shape: str) -> Tile:
        return tile(tap, shape, words.say(TAP_NAMES[tap]))

    fault = named(Tap.FAULT, "fault")
    if stage is Stage.LIMBS:
        fewer = [named(Tap.FEWER_NONE_LEFT, "nothing_due")] if standard.limbs.least else []
        counts = [tile(value, "count", label) for value, label in _counts(standard.limbs).items()]
        return [*counts, *fewer, fault]
    right = named(Tap.RIGHT, "right")
    if stage is Stage.HEADING and standard.heading.rule is HeadingRule.FORBIDDEN:
        headed = words.say(FAULT_NAMES[Fault.FORBIDDEN])
        return [right, tile(Tap.FAULT, "fault", headed)]
    return [right, named(Tap.NOTHING_DUE, "nothing_due"), fault]


def _counts(rule: LimbsRule) -> dict[str, str]:
    """Return the tiles for the counts in range: value and label, one for all if many."""
    others = 2 if rule.least else 1
    if rule.most - rule.least + 1 + others <= _MOST_TILES:
        return {str(count): str(count) for count in range(rule.least, rule.most + 1)}
    return {Tap.RIGHT: f"{rule.least}-{rule.most}"}


def _tile_of(answer: ClassAnswer, rule: LimbsRule) -> str:
    if answer.tap is not Tap.RIGHT:
        return answer.tap
    counts = _counts(rule)
    return Tap.RIGHT if Tap.RIGHT in counts else str(answer.removed)


def _is_named(selected: MultiDict[str, str], stage: Stage, fault: Fault) -> bool:
    return selected.get(stage) == Tap.FAULT and fault in selected.getlist(f"{stage}_faults")


def _first_problem(stage: Stage, problems: Mapping[str, Message], words: Words) -> str | None:
    for key, problem in problems.items():
        if key == stage or key.startswith(f"{stage}_"):
            return words.say(problem)
    return None


def _read_stage(
    form: MultiDict[str, str], stage: Stage, standard: Standard, units: Units, method: Method
) -> dict[str, Any] | None:
    measured = read_measure(form, stage, standard, units, method)
    if is_only_measured(stage, standard):
        return measured
    tapped = _read_tile(form, stage, standard, method, measured)
    if measured is None or tapped is None:
        return measured or tapped
    by_measure = _result(standard, stage, measured, method)
    by_tile = _result(standard, stage, tapped, method)
    if by_measure is not by_tile:
        raise InvalidInput(
            {
                str(stage): say(
                    "The measures say: %(measured)s. The tile says: %(tapped)s. "
                    "Put one of them right.",
                    measured=say(RESULT_NAMES[by_measure]),
                    tapped=say(RESULT_NAMES[by_tile]),
                )
            }
        )
    return measured


def _read_tile(
    form: MultiDict[str, str],
    stage: Stage,
    standard: Standard,
    method: Method,
    measured: dict[str, Any] | None,
) -> dict[str, Any] | None:
    value = form.get(stage, "")
    if not value:
        return None
    if stage is Stage.LIMBS and value in _counts(standard.limbs) and value != Tap.RIGHT:
        return {"kind": "class", "tap": Tap.RIGHT, "removed": int(value)}
    try:
        tap = Tap(value)
    except ValueError as error:
        raise InvalidInput({str(stage): say("Tap one of the answers.")}) from error
    if tap is not Tap.FAULT:
        return {"kind": "class", "tap": tap}
    possible = possible_faults(standard, stage, method)
    named = [fault for fault in possible if fault in form.getlist(f"{stage}_faults")]
    if not named and (measured is not None or len(possible) == 1):
        # Measures name their faults themselves, and a single possible fault needs no name.
        named = [possible[0]]
    if not named:
        raise InvalidInput({str(stage): say("Name the fault.")})
    return {"kind": "class", "tap": tap, "faults": named}


def _result(standard: Standard, stage: Stage, answer: dict[str, Any], method: Method) -> Result:
    answers = read_answers({"stages": {str(stage): answer}})
    return score_tree(standard, answers, method=method, stages=(stage,)).stages[stage].result


def _unanswered(stage: Stage, standard: Standard, missed: Missed | None) -> Message:
    if missed is Missed.SIDE:
        return say("Answer this stage too: it is judged on the whole tree.")
    if is_only_measured(stage, standard):
        return say("Measure this stage.")
    return say("Tap an answer.")


def _missed(value: str | None) -> Missed | None:
    return Missed(value) if value in set(Missed) else None


def _is_missed(stage: Stage, missed: Missed | None) -> bool:
    return missed is Missed.TREE or (missed is Missed.SIDE and stage not in WHOLE_TREE_STAGES)
