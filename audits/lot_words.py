"""What the plans of a lot promise, in sentences that a supervisor decides by."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from babel.numbers import format_decimal

from audits.errors import InvalidInput
from audits.lot_figures import LotFigures, StageFigures
from audits.messages import Message, Words, mark, say, say_n
from audits.plain_words import just
from audits.sampling import (
    INSPECTION_NAMES,
    Inspection,
    MeasuredPlan,
    Plan,
    PlanKind,
    StagePlan,
    Wave,
    code_letter,
    resolved_cell,
)
from audits.standard import SamplingRule
from audits.vocabulary import Strictness

A_ROW: Final = mark("A row")
A_LOT: Final = mark("A lot")

# The tables of MIL-STD-105E, by kind of plan and state of inspection.
_TABLE_NAMES: Final = {
    (PlanKind.SINGLE, Inspection.NORMAL): "II-A",
    (PlanKind.SINGLE, Inspection.TIGHTENED): "II-B",
    (PlanKind.SINGLE, Inspection.REDUCED): "II-C",
    (PlanKind.DOUBLE, Inspection.NORMAL): "III-A",
    (PlanKind.DOUBLE, Inspection.TIGHTENED): "III-B",
    (PlanKind.DOUBLE, Inspection.REDUCED): "III-C",
}


@dataclass(frozen=True)
class InHundred:
    """
    A ratio that people read as trees of a hundred.

    Parameters
    ----------
    ratio : float
        The ratio, in [0, 1].

    Examples
    --------
    >>> from audits.messages import ENGLISH
    >>> ENGLISH.show(InHundred(0.065))
    '6.5'
    """

    ratio: float

    def in_words(self, words: Words) -> str:
        """
        Write the number of trees, with two decimals at most.

        Parameters
        ----------
        words : Words
            The reader's language, region and units.

        Returns
        -------
        str
            Such as ``"6.5"``.
        """
        return format_decimal(100 * self.ratio, "#,##0.##", locale=words.locale)


def often(chance: float) -> Message:
    """
    Say a chance as times in a hundred.

    Rounding never makes a chance certain or impossible.

    Parameters
    ----------
    chance : float
        The chance, in [0, 1].

    Returns
    -------
    Message
        Such as "96 times in 100"; "more than 99 times in 100" where rounding would say 100.

    Examples
    --------
    >>> str(often(0.957)), str(often(0.9961)), str(often(0.0))
    ('96 times in 100', 'more than 99 times in 100', '0 times in 100')
    """
    return say_n(
        "%(number)s time in 100",
        "%(number)s times in 100",
        _whole(chance),
        number=times_of_hundred(chance),
    )


def times(chance: float) -> Message:
    """
    Say a chance as times, where the hundred was named already.

    Parameters
    ----------
    chance : float
        The chance, in [0, 1].

    Returns
    -------
    Message
        Such as "8 times"; "less than 1 time" where rounding would say 0.

    Examples
    --------
    >>> str(times(0.083)), str(times(0.004))
    ('8 times', 'less than 1 time')
    """
    return say_n(
        "%(number)s time", "%(number)s times", _whole(chance), number=times_of_hundred(chance)
    )


def times_of_hundred(chance: float) -> Message:
    """
    Say a chance as the bare number of times in a hundred.

    Parameters
    ----------
    chance : float
        The chance, in [0, 1].

    Returns
    -------
    Message
        Such as "96", "more than 99" or "less than 1".

    Examples
    --------
    >>> str(times_of_hundred(0.957)), str(times_of_hundred(0.9961))
    ('96', 'more than 99')
    """
    nearest = _nearest(100 * chance)
    if nearest > _whole(chance):
        return say("more than 99")
    if nearest < _whole(chance):
        return say("less than 1")
    return just(nearest)


def promise_sentence(figures: StageFigures, whole: str = A_ROW) -> Message:
    """
    Say how often a good and a bad lot pass a stage.

    Parameters
    ----------
    figures : StageFigures
        What the stage's plan promises.
    whole : str, optional
        `A_ROW` or `A_LOT`.

    Returns
    -------
    Message
        Such as "A row with 5 in 100 bad trees passes 97 times in 100; one with 25 in 100 passes
        9 times."; of a measured stage, at least and at most how often.
    """
    if figures.is_measured:
        return say(
            "%(whole)s with %(good)s in 100 bad trees passes at least %(often)s; one with %(bad)s "
            "in 100 passes at most %(seldom)s.",
            **_promised(figures, whole),
        )
    return say(
        "%(whole)s with %(good)s in 100 bad trees passes %(often)s; one with %(bad)s in 100 passes "
        "%(seldom)s.",
        **_promised(figures, whole),
    )


def goes_back_sentence(figures: LotFigures, whole: str = A_ROW) -> Message:
    """
    Say how often a lot goes back for nothing.

    Parameters
    ----------
    figures : LotFigures
        What the plans of the lot promise.
    whole : str, optional
        `A_ROW` or `A_LOT`.

    Returns
    -------
    Message
        The chance that a lot goes back although it is acceptable in every stage; where a stage is
        measured, that at most.
    """
    if any(stage.is_measured for stage in figures.stages):
        return say(
            "%(whole)s that is good in every stage goes back at most %(often)s, by chance alone.",
            whole=say(whole),
            often=often(figures.goes_back),
        )
    return say(
        "%(whole)s that is good in every stage goes back %(often)s, by chance alone.",
        whole=say(whole),
        often=often(figures.goes_back),
    )


def limit_sentence(figures: StageFigures) -> Message:
    """
    Say that the quality limit of the tables is not the acceptable fraction.

    Parameters
    ----------
    figures : StageFigures
        What a plan of the tables promises.

    Returns
    -------
    Message
        How often it passes at the limit, and how often at the acceptable fraction.

    Raises
    ------
    InvalidInput
        If the plan is not one of the tables.
    """
    if figures.limit_percent is None or figures.at_limit is None:
        raise InvalidInput({"limit": say("Only plans of the tables have a quality limit.")})
    return say(
        "The AQL is no acceptable fraction. At the AQL of %(limit)s in 100 it passes %(often)s; at "
        "your acceptable fraction of %(good)s in 100 it passes %(other)s.",
        limit=InHundred(figures.limit_percent / 100),
        often=often(figures.at_limit.chance),
        good=InHundred(figures.promise.acceptable_fraction),
        other=times(figures.acceptable.chance),
    )


def consequence_sentence(
    strictness: Strictness, figures: LotFigures, as_written: LotFigures, whole: str = A_ROW
) -> Message:
    """
    Say what asking for more or less than the standard leads to.

    Parameters
    ----------
    strictness : Strictness
        What is asked for.
    figures : LotFigures
        What its plans promise.
    as_written : LotFigures
        What the plans of the standard promise, for the same stages.
    whole : str, optional
        `A_ROW` or `A_LOT`.

    Returns
    -------
    Message
        Such as "A row with 25 in 100 bad trees passes 4 times in 100 instead of 8; about 6 more
        trees.": of the stage in which a bad lot passes most easily.
    """
    place = max(
        range(len(as_written.stages)), key=lambda at: as_written.stages[at].rejectable.chance
    )
    before, after = as_written.stages[place], figures.stages[place]
    bad = InHundred(before.promise.rejectable_fraction)
    if strictness is Strictness.AS_WRITTEN:
        return say(
            "%(whole)s with %(bad)s in 100 bad trees passes %(often)s; about %(trees)s trees "
            "where all is well.",
            whole=say(whole),
            bad=bad,
            often=often(after.rejectable.chance),
            trees=_nearest(figures.expected_trees),
        )
    return say(
        "%(whole)s with %(bad)s in 100 bad trees passes %(often)s instead of %(before)s; "
        "%(trees)s.",
        whole=say(whole),
        bad=bad,
        often=often(after.rejectable.chance),
        before=times_of_hundred(before.rejectable.chance),
        trees=_more_trees(_nearest(figures.expected_trees - as_written.expected_trees)),
    )


def walk_words(plan: StagePlan, lot_size: int, walk: Sequence[int]) -> tuple[Message, ...]:
    """
    Say how a stage is decided on the walk.

    Parameters
    ----------
    plan : StagePlan
        The stage's plan.
    lot_size : int
        Trees in the lot.
    walk : Sequence of int
        Trees looked at by the end of each wave of the walk, all stages together.

    Returns
    -------
    tuple of Message
        Sentences in the order of the walk.

    Examples
    --------
    >>> from audits.sampling import WavePlan
    >>> for sentence in walk_words(WavePlan((20, 34), (2, 4), (5, 5)), 300, (20, 34)):
    ...     print(sentence)
    Walk out: 20 trees.
    A stage with up to 2 bad trees by then is accepted, one with 5 goes back.
    Else walk back: 14 more trees, up to 4 of 34 allowed.
    """
    if isinstance(plan, MeasuredPlan):
        return (
            say(
                "All of the first %(count)s trees are measured; then mean and spread decide.",
                count=plan.measured_size,
            ),
            say("Where the measures do not allow it, the bad trees are counted."),
            *walk_words(plan.counted, lot_size, walk),
        )
    waves = plan.waves
    in_step = tuple(wave.size for wave in waves) == tuple(walk)
    if len(waves) == 1:
        return (
            _one_walk(waves[0], lot_size, in_step=in_step),
            _decided(waves[0]),
            *_gap(plan),
        )
    sentences: list[Message] = []
    walked = 0
    for number, wave in enumerate(waves):
        trees = wave.size - walked
        walked = wave.size
        if number == len(waves) - 1:
            sentences.append(_last_walk(number, trees, wave, in_step=in_step))
        else:
            sentences += [_next_walk(number, trees, in_step=in_step), _decided(wave)]
    return (*sentences, *_gap(plan))


def numbers_in_short(plan: StagePlan) -> Message:
    """
    Say with how many bad trees a stage is accepted, in a few words.

    Parameters
    ----------
    plan : StagePlan
        The stage's plan.

    Returns
    -------
    Message
        Such as "accepted with up to 2 bad trees of 20, else up to 4 of 34".
    """
    if isinstance(plan, MeasuredPlan):
        return say(
            "by mean and spread of %(count)s trees; if counted, %(numbers)s",
            count=plan.measured_size,
            numbers=numbers_in_short(plan.counted),
        )
    steps = [(wave.size, wave.most_accepted) for wave in plan.waves if wave.most_accepted >= 0]
    *later, (size, most) = reversed(steps)
    if most == 0:
        first = say("accepted without a bad tree among %(sample)s", sample=size)
    else:
        first = say_n(
            "accepted with up to %(count)s bad tree of %(sample)s",
            "accepted with up to %(count)s bad trees of %(sample)s",
            most,
            sample=size,
        )
    for size, most in reversed(later):
        first = say(
            "%(first)s, else up to %(most)s of %(sample)s", first=first, most=most, sample=size
        )
    return first


def table_words(
    rule: SamplingRule, lot_size: int, inspection: Inspection = Inspection.NORMAL
) -> Message:
    """
    Name the table and the place in it that a plan comes from.

    Parameters
    ----------
    rule : SamplingRule
        The standard's rule, whose method is the tables.
    lot_size : int
        Trees in the lot.
    inspection : Inspection, optional
        Where the stage stands in the tables' switching.

    Returns
    -------
    Message
        Table, code letters, level, limit and state of inspection.

    Raises
    ------
    InvalidInput
        If the lot is too small for the tables.

    References
    ----------
    .. [1] MIL-STD-105E, 1989, Tables I, II-A to II-C and III-A to III-C.

    Examples
    --------
    >>> print(table_words(SamplingRule(), 310))  # doctest: +NORMALIZE_WHITESPACE
    Table II-A of MIL-STD-105E, normal inspection: level II and 310 trees give code letter H;
    AQL 6.5.
    """
    letter = code_letter(lot_size, rule.inspection_level)
    used, _ = resolved_cell(
        letter, rule.acceptable_quality_limit, inspection=inspection, kind=rule.table_kind
    )
    values = {
        "table": _TABLE_NAMES[rule.table_kind, inspection],
        "inspection": say(INSPECTION_NAMES[inspection]),
        "level": rule.inspection_level.value,
        "trees": lot_size,
        "letter": letter,
        "limit": InHundred(rule.acceptable_quality_limit / 100),
    }
    if used == letter:
        return say(
            "Table %(table)s of MIL-STD-105E, %(inspection)s: level %(level)s and %(trees)s trees "
            "give code letter %(letter)s; AQL %(limit)s.",
            **values,
        )
    return say(
        "Table %(table)s of MIL-STD-105E, %(inspection)s: level %(level)s and %(trees)s trees give "
        "code letter %(letter)s; AQL %(limit)s. The arrow there leads to the plan of %(used)s.",
        used=used,
        **values,
    )


def _promised(figures: StageFigures, whole: str) -> dict[str, object]:
    return {
        "whole": say(whole),
        "good": InHundred(figures.promise.acceptable_fraction),
        "often": often(figures.acceptable.chance),
        "bad": InHundred(figures.promise.rejectable_fraction),
        "seldom": times(figures.rejectable.chance),
    }


def _nearest(value: float) -> int:
    return math.floor(value + 0.5)


def _whole(chance: float) -> int:
    """Return the nearest times in a hundred; none and all only where the chance is exactly that."""
    return min(99, max(1, _nearest(100 * chance))) if 0.0 < chance < 1.0 else _nearest(100 * chance)


def _more_trees(difference: int) -> Message:
    if difference == 0:
        return say("about as many trees")
    if difference > 0:
        return say_n("about %(count)s more tree", "about %(count)s more trees", difference)
    return say_n("about %(count)s fewer tree", "about %(count)s fewer trees", -difference)


def _one_walk(wave: Wave, lot_size: int, *, in_step: bool) -> Message:
    if wave.size >= lot_size:
        return say_n(
            "The one tree of the lot is looked at.",
            "All %(count)s trees of the lot are looked at.",
            wave.size,
        )
    if not in_step:
        return _first_trees(wave.size)
    return say_n(
        "Walk a loop: %(count)s tree, out on one side of the row and back on the other.",
        "Walk a loop: %(count)s trees, out on one side of the row and back on the other.",
        wave.size,
    )


def _next_walk(number: int, trees: int, *, in_step: bool) -> Message:
    if number == 0:
        if not in_step:
            return _first_trees(trees)
        return say_n("Walk out: %(count)s tree.", "Walk out: %(count)s trees.", trees)
    if not in_step:
        return say_n("Else %(count)s more tree.", "Else %(count)s more trees.", trees)
    if number % 2 == 1:
        return say_n(
            "Else walk back: %(count)s more tree.", "Else walk back: %(count)s more trees.", trees
        )
    return say_n(
        "Else walk out again: %(count)s more tree.",
        "Else walk out again: %(count)s more trees.",
        trees,
    )


def _last_walk(number: int, trees: int, wave: Wave, *, in_step: bool) -> Message:
    allowed = _allowed_of(wave)
    if not in_step:
        return say_n(
            "Else %(count)s more tree, %(allowed)s.",
            "Else %(count)s more trees, %(allowed)s.",
            trees,
            allowed=allowed,
        )
    if number % 2 == 1:
        return say_n(
            "Else walk back: %(count)s more tree, %(allowed)s.",
            "Else walk back: %(count)s more trees, %(allowed)s.",
            trees,
            allowed=allowed,
        )
    return say_n(
        "Else walk out again: %(count)s more tree, %(allowed)s.",
        "Else walk out again: %(count)s more trees, %(allowed)s.",
        trees,
        allowed=allowed,
    )


def _first_trees(trees: int) -> Message:
    return say_n("The first tree of the walk.", "The first %(count)s trees of the walk.", trees)


def _decided(wave: Wave) -> Message:
    turned_down = wave.rejection_number <= wave.size
    if wave.acceptance_number is None:
        if turned_down:
            return say_n(
                "No stage is accepted yet; one with %(count)s bad tree goes back.",
                "No stage is accepted yet; one with %(count)s bad trees goes back.",
                wave.rejection_number,
            )
        return say("Nothing is decided yet.")
    if not turned_down:
        return say_n(
            "A stage with up to %(count)s bad tree by then is accepted; none goes back.",
            "A stage with up to %(count)s bad trees by then is accepted; none goes back.",
            wave.acceptance_number,
        )
    if wave.acceptance_number == 0:
        return say(
            "A stage without a bad tree by then is accepted, one with %(rejected)s goes back.",
            rejected=wave.rejection_number,
        )
    return say_n(
        "A stage with up to %(count)s bad tree by then is accepted, one with %(rejected)s goes "
        "back.",
        "A stage with up to %(count)s bad trees by then is accepted, one with %(rejected)s goes "
        "back.",
        wave.acceptance_number,
        rejected=wave.rejection_number,
    )


def _allowed_of(wave: Wave) -> Message:
    if wave.most_accepted == 0:
        return say("none of %(sample)s allowed", sample=wave.size)
    return say("up to %(most)s of %(sample)s allowed", most=wave.most_accepted, sample=wave.size)


def _gap(plan: Plan) -> tuple[Message, ...]:
    """Say where acceptance has a consequence: between the numbers of reduced inspection."""
    last = plan.waves[-1]
    if plan.acceptance_number == last.most_accepted:
        return ()
    return (
        say(
            "With more than %(accepted)s and less than %(rejected)s bad trees it is still "
            "accepted, but reduced inspection ends.",
            accepted=plan.acceptance_number,
            rejected=last.rejection_number,
        ),
    )
