"""A plan and its curve as plain text, for the command line."""

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any, Final

from babel.numbers import format_decimal

from audits.errors import InvalidInput
from audits.lot_figures import (
    QUALITY_CHANCES,
    CurvePoint,
    LotFigures,
    StageFigures,
    curve_table,
    figures_of_standard,
)
from audits.lot_plans import plan_lot
from audits.lot_words import (
    InHundred,
    goes_back_sentence,
    limit_sentence,
    often,
    promise_sentence,
    table_words,
    times_of_hundred,
    walk_words,
)
from audits.messages import Message, Words, say, say_n
from audits.sampling import Inspection, Plan, average_sample_number_at_count, walk_sizes
from audits.standard import Standard, preset, read_standard
from audits.vocabulary import PLAN_METHOD_NAMES, BearingHabit, PlanMethod, Stage

_NUMBER: Final = re.compile(r"\d{1,9}(?:[.,]\d{1,9})?")
_WHOLE: Final = re.compile(r"\d{1,7}")
_GAP: Final = "  "
# The options in which a value at fault was entered.
_OPTIONS: Final = {
    "acceptable_fraction": "--acceptable",
    "rejectable_fraction": "--rejectable",
    "producer_risk": "--producer-risk",
    "consumer_risk": "--consumer-risk",
    "most_waves": "--waves",
    "acceptable_quality_limit": "--aql",
    "lot_size": "--trees",
}
# Any spacing: the report asks nothing about heights.
_SPACING_MM: Final = 3_350.0
_SURELY: Final = 0.9999


def read_fraction(text: str) -> float:
    """
    Read a fraction as people type it: with a percent sign, or as a number below 1.

    Parameters
    ----------
    text : str
        Such as ``5%``, ``2,5 %`` or ``0.05``.

    Returns
    -------
    float
        The fraction.

    Raises
    ------
    InvalidInput
        If the text is neither.
    """
    cleaned = text.strip()
    number = cleaned.removesuffix("%").strip()
    if _NUMBER.fullmatch(number):
        value = float(number.replace(",", "."))
        if cleaned.endswith("%"):
            # Rounded, so that 5 % is 0.05 and not a neighbour of it.
            return round(value / 100, 9)
        if value < 1:
            return value
    raise InvalidInput(
        {
            "value": say(
                'Cannot read "%(text)s". Write a percentage such as 5%% or a fraction such as '
                "0.05.",
                text=text,
            )
        }
    )


def read_number(text: str) -> float:
    """
    Read a number with a decimal point or comma.

    Parameters
    ----------
    text : str
        Such as ``6.5``.

    Returns
    -------
    float
        The number.

    Raises
    ------
    InvalidInput
        If the text is none.
    """
    if not _NUMBER.fullmatch(text.strip()):
        raise InvalidInput(
            {"value": say('Cannot read "%(text)s". Write a number such as 6.5.', text=text)}
        )
    return float(text.strip().replace(",", "."))


def read_whole(text: str) -> int:
    """
    Read a whole number of at least 1.

    Parameters
    ----------
    text : str
        Such as ``310``.

    Returns
    -------
    int
        The number.

    Raises
    ------
    InvalidInput
        If the text is none.
    """
    if not _WHOLE.fullmatch(text.strip()) or int(text) < 1:
        raise InvalidInput(
            {
                "value": say(
                    'Cannot read "%(text)s". Write a whole number such as 310, at least 1.',
                    text=text,
                )
            }
        )
    return int(text)


_READERS: Final[dict[str, Callable[[str], float]]] = {
    "trees": read_whole,
    "acceptable": read_fraction,
    "rejectable": read_fraction,
    "producer_risk": read_fraction,
    "consumer_risk": read_fraction,
    "stages": read_whole,
    "waves": read_whole,
    "aql": read_number,
    "seconds": read_number,
}


def report_of(entered: Mapping[str, str], words: Words) -> str:
    """
    Read what was entered on the command line, and write the plan.

    Parameters
    ----------
    entered : Mapping of str to str
        The text of each option, by its name.
    words : Words
        The reader's language and region.

    Returns
    -------
    str
        Lines of text.

    Raises
    ------
    InvalidInput
        If a value cannot be read, lies outside its range or contradicts another; by option.
    AuditError
        If the lot cannot keep its promises.
    """
    values = _read(entered)
    try:
        return plan_report(
            _standard_of(values),
            values["trees"],
            values["stages"],
            words,
            inspection=Inspection(entered["inspection"]),
            seconds_a_tree=values["seconds"],
        )
    except InvalidInput as error:
        problems = {
            _OPTIONS.get(field.rpartition(".")[2], field): message
            for field, message in error.problems.items()
        }
        raise InvalidInput(problems) from error


def _read(entered: Mapping[str, str]) -> dict[str, Any]:
    values: dict[str, Any] = dict(entered)
    problems = {}
    for name, read in _READERS.items():
        try:
            values[name] = read(entered[name])
        except InvalidInput as error:
            problems[f"--{name.replace('_', '-')}"] = error.message
    if not problems and values["stages"] > len(Stage):
        problems["--stages"] = say("There are %(most)s stages at most.", most=len(Stage))
    if problems:
        raise InvalidInput(problems)
    return values


def _standard_of(values: Mapping[str, Any]) -> Standard:
    """Return a standard that promises the same for every stage."""
    payload = preset(BearingHabit.SPUR, _SPACING_MM).model_dump()
    for stage in Stage:
        payload[stage]["promise"] = {
            "acceptable_fraction": values["acceptable"],
            "rejectable_fraction": values["rejectable"],
        }
    return read_standard(
        payload
        | {
            "producer_risk": values["producer_risk"],
            "consumer_risk": values["consumer_risk"],
            "sampling": {
                "method": values["method"],
                "most_waves": values["waves"],
                "acceptable_quality_limit": values["aql"],
                "inspection_level": values["level"],
                "table_kind": values["kind"],
            },
        }
    )


def plan_report(
    standard: Standard,
    lot_size: int,
    stages: int,
    words: Words,
    *,
    inspection: Inspection = Inspection.NORMAL,
    seconds_a_tree: float,
) -> str:
    """
    Write the plan of a lot and what it promises.

    Parameters
    ----------
    standard : Standard
        The rule, alike for every stage.
    lot_size : int
        Trees in the lot.
    stages : int
        Stages in use, 1 to 4.
    words : Words
        The reader's language and region.
    inspection : Inspection, optional
        Where the stages stand in the tables' switching.
    seconds_a_tree : float
        Time for a tree, the way to it included.

    Returns
    -------
    str
        Lines of text.

    Raises
    ------
    InvalidInput
        If a value lies outside its range.
    AuditError
        If the lot cannot keep its promises.
    """
    used = tuple(Stage)[:stages]
    plans = plan_lot(standard, lot_size, used, inspections=dict.fromkeys(used, inspection))
    figures = figures_of_standard(standard, plans, lot_size, seconds_a_tree=seconds_a_tree)
    stage = figures.stages[0]
    # Nothing here is measured: the standard is the usual one.
    plan: Plan = stage.plan  # type: ignore[assignment]
    parts = [
        _said(_head(standard, figures, inspection), words),
        _table(_wave_rows(plan, words)),
        _said(walk_words(plan, lot_size, walk_sizes([plan])), words),
        _said(_sentences(stage, figures), words),
        _pairs(_figure_lines(stage, figures, words)),
        _table(_curve_rows(plan, stage, words)),
    ]
    return "\n\n".join("\n".join(part) for part in parts)


def _said(sentences: Iterable[Message], words: Words) -> list[str]:
    return [words.say(sentence) for sentence in sentences]


def _head(standard: Standard, figures: LotFigures, inspection: Inspection) -> list[Message]:
    method = standard.sampling.method
    lines = [
        say_n(
            "Plan for a lot of %(trees)s trees, one stage",
            "Plan for a lot of %(trees)s trees, %(count)s stages",
            len(figures.stages),
            trees=figures.lot_size,
        ),
        say("%(method)s.", method=say(PLAN_METHOD_NAMES[method])),
    ]
    if method is PlanMethod.TABLE:
        lines.append(table_words(standard.sampling, figures.lot_size, inspection))
    return lines


def _sentences(stage: StageFigures, figures: LotFigures) -> list[Message]:
    lines = [promise_sentence(stage), goes_back_sentence(figures)]
    if stage.at_limit is not None:
        lines.append(limit_sentence(stage))
    return lines


def _figure_lines(stage: StageFigures, figures: LotFigures, words: Words) -> list[tuple[str, str]]:
    def tenths(value: float) -> str:
        return format_decimal(value, "#,##0.0", locale=words.locale)

    accepted = [
        (
            say("A stage passes %(often)s with up to", often=often(chance)),
            words.say(say("%(bad)s in 100 bad trees", bad=InHundred(round(fraction, 4)))),
        )
        for chance, fraction in zip(QUALITY_CHANCES, stage.accepted_fractions, strict=True)
    ]
    lines = [
        *accepted,
        (say("Trees for one stage alone, good"), tenths(stage.expected_trees)),
        (say("Trees for one stage alone, bad"), tenths(stage.expected_trees_rejectable)),
        (say("Trees for all stages, all good"), tenths(figures.expected_trees)),
        (
            say("Trees for all stages, one bad"),
            tenths(figures.expected_trees_one_rejectable),
        ),
        (say("Trees at most"), words.show(figures.largest_sample)),
        (
            say(
                "Minutes for all stages, all good, at %(seconds)s seconds a tree",
                seconds=figures.seconds_a_tree,
            ),
            tenths(figures.expected_minutes),
        ),
    ]
    return [(words.say(name), value) for name, value in lines]


def _wave_rows(plan: Plan, words: Words) -> list[list[str]]:
    heads = [
        say("Walk"),
        say("Trees so far"),
        say("Accepted up to"),
        say("Goes back from"),
    ]
    rows = [
        [
            words.show(number),
            words.show(wave.size),
            "-" if wave.acceptance_number is None else words.show(wave.acceptance_number),
            "-" if wave.rejection_number > wave.size else words.show(wave.rejection_number),
        ]
        for number, wave in enumerate(plan.waves, start=1)
    ]
    return [[words.say(head) for head in heads], *rows]


def _curve_rows(plan: Plan, stage: StageFigures, words: Words) -> list[list[str]]:
    heads = [
        say("Bad trees"),
        say("In 100"),
        say("Passes, times in 100"),
        say("Chance"),
        say("Trees on average"),
    ]
    return [
        [words.say(head) for head in heads],
        *(_curve_row(plan, point, words) for point in curve_table(stage)),
    ]


def _curve_row(plan: Plan, point: CurvePoint, words: Words) -> list[str]:
    trees = average_sample_number_at_count(plan, point.nonconforming, point.lot_size)
    chance = point.chance
    if 0.0 < chance < 1.0:
        # Rounding makes nothing certain.
        chance = min(_SURELY, max(1.0 - _SURELY, chance))
    return [
        words.show(point.nonconforming),
        format_decimal(100 * point.fraction, "0.0", locale=words.locale),
        words.say(times_of_hundred(point.chance)),
        format_decimal(chance, "0.0000", locale=words.locale),
        format_decimal(trees, "0.0", locale=words.locale),
    ]


def _table(rows: Sequence[Sequence[str]]) -> list[str]:
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    return [
        _GAP.join(cell.rjust(width) for cell, width in zip(row, widths, strict=True))
        for row in rows
    ]


def _pairs(lines: Sequence[tuple[str, str]]) -> list[str]:
    width = max(len(name) for name, _ in lines)
    return [f"{name.ljust(width)}{_GAP}{value}" for name, value in lines]
