"""Answers in words: what somebody entered for a tree, stage by stage."""

from flask_babel import gettext

from audits.errors import InvalidInput
from audits.scoring import (
    Answer,
    ClassAnswer,
    ColumnsMeasure,
    HeadingMeasure,
    LimbsMeasure,
    Missed,
    Tap,
    TopMeasure,
    TreeAnswers,
    read_answers,
)
from audits.units import Length, LengthKind
from audits.vocabulary import FAULT_NAMES, STAGE_NAMES, Fault
from webapp.auditing.entry import TAP_NAMES
from webapp.reading import words


def answer_lines(payload: object) -> list[tuple[str, str]] | None:
    """Return the answers on a tree as stage and words; None where they cannot be read."""
    try:
        answers = read_answers(payload)
    except InvalidInput:
        return None
    stages = [
        (words().say(name), _answer_words(answers.stages[stage]))
        # From the top of the tree down, however it was written.
        for stage, name in STAGE_NAMES.items()
        if stage in answers.stages
    ]
    return _missed_lines(answers) + stages + _gauge_lines(answers)


def _gauge_lines(answers: TreeAnswers) -> list[tuple[str, str]]:
    if answers.gauge is None:
        return []
    return [(str(gettext("Diameters measured with")), f"B{answers.gauge}")]


def _missed_lines(answers: TreeAnswers) -> list[tuple[str, str]]:
    if answers.missed is None:
        return []
    fault = Fault.TREE_MISSED if answers.missed is Missed.TREE else Fault.SIDE_MISSED
    return [(str(gettext("Missed")), words().say(FAULT_NAMES[fault]))]


def _answer_words(answer: Answer) -> str:
    match answer:
        case ClassAnswer():
            return _tapped(answer)
        case TopMeasure():
            return _joined(_length(answer.height_mm, LengthKind.HEIGHT), _cut_words(answer))
        case LimbsMeasure():
            return _joined(
                gettext("fresh cuts: %(lengths)s", lengths=_lengths(answer.cut_mm)),
                gettext("still standing: %(lengths)s", lengths=_lengths(answer.standing_mm)),
                _faults(answer.faults),
            )
        case ColumnsMeasure():
            return _joined(
                gettext(
                    "%(single)s of %(looked_at)s branches are single columns",
                    single=answer.single,
                    looked_at=answer.looked_at,
                ),
                _faults(answer.faults),
            )
        case HeadingMeasure():
            return _joined(
                gettext("cuts: %(lengths)s", lengths=_lengths(answer.diameters_mm)),
                gettext("left long: %(count)s", count=answer.left_long),
            )


def _tapped(answer: ClassAnswer) -> str:
    if answer.tap is Tap.FAULT and answer.faults:
        return _faults(answer.faults)
    name = words().say(TAP_NAMES[answer.tap])
    if answer.removed is None:
        return name
    return _joined(name, gettext("limbs out: %(count)s", count=answer.removed))


def _cut_words(answer: TopMeasure) -> str:
    if not answer.topped:
        return str(gettext("not cut this pass"))
    return _joined(
        "" if answer.to_side_branch else words().say(FAULT_NAMES[Fault.BLUNT]),
        words().say(FAULT_NAMES[Fault.LEADER_YOUNG]) if answer.leader_young else "",
    )


def _faults(faults: tuple[Fault, ...]) -> str:
    return ", ".join(words().say(FAULT_NAMES[fault]) for fault in faults)


def _length(mm: float, kind: LengthKind) -> str:
    return words().show(Length(mm, kind))


def _lengths(values: tuple[float, ...]) -> str:
    return ", ".join(_length(mm, LengthKind.DIAMETER) for mm in values) or str(gettext("none"))


def _joined(*parts: str) -> str:
    return "; ".join(str(part) for part in parts if part)
