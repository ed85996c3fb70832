"""Quiz items as their pages show them."""

from dataclasses import dataclass
from typing import Final

from flask import url_for
from flask_babel import gettext
from markupsafe import Markup

from audits.learning.item_words import (
    FLAG_WORDS,
    difficulty_sentence,
    discrimination_sentence,
    language_sentence,
    unused_sentence,
)
from audits.learning.items import LEAST_PEOPLE, ItemFlag, ItemReading
from audits.learning.reliability import score_error
from audits.messages import Message, Rounded
from audits.questions import Question
from audits.services.item_bank import ItemLine, ItemReport, QuizReliability
from audits.vocabulary import STAGE_NAMES
from printables.drawing.svg import to_svg
from printables.question_pictures import question_picture
from webapp.extensions import farm_day
from webapp.learning_items.examples import example_of
from webapp.reading import words

# What calls for a look; that everybody gets an item right only makes it dull.
_TO_LOOK_AT: Final = frozenset(ItemFlag) - {ItemFlag.NOBODY_FAILS}


@dataclass(frozen=True)
class LineView:
    """An item in the list."""

    url: str
    title: str
    right: str
    stage: str
    answered: Message | None
    flags: list[Message]
    is_retired: bool
    needs_a_look: bool


@dataclass(frozen=True)
class ListPage:
    """The list of items, and how far quizzes can be relied on."""

    to_look_at: list[LineView]
    asked: list[LineView]
    unasked: list[LineView]
    retired: list[LineView]
    reliability: list[str]
    answers: int


@dataclass(frozen=True)
class ItemPage:
    """One item as it was last asked, or with an example, and its answers."""

    title: str
    is_asked: bool
    stage: str
    picture: Markup | None
    choices: list[str]
    right: str
    why: str
    flags: list[Message]
    facts: list[Message]
    columns: list[str | tuple[str, str]]
    rows: list[tuple[str, ...]]
    groups: int
    retired: str
    reason: str
    may_retire: bool


def list_page(report: ItemReport) -> ListPage:
    """Return the list of items."""
    lines = [_line(line) for line in report.lines]
    active = [line for line in lines if not line.is_retired]
    return ListPage(
        [line for line in active if line.needs_a_look],
        [line for line in active if line.answered and not line.needs_a_look],
        [line for line in active if not line.answered],
        [line for line in lines if line.is_retired],
        _reliability(report.quizzes),
        report.answers,
    )


def item_page(
    line: ItemLine, report: ItemReport, example: Question | None, *, is_asked: bool
) -> ItemPage:
    """Return what the page of one item shows; `is_asked` of an example that a quiz asked."""
    reading = line.reading
    picture = None
    if example is not None and example.picture is not None:
        drawing = question_picture(example.picture, words())
        # The drawing layer escapes every text that it writes.
        picture = Markup(to_svg(drawing, id_prefix="example"))  # noqa: S704
    return ItemPage(
        title=_title(line.item, example),
        is_asked=is_asked,
        stage=_stage(line),
        picture=picture,
        choices=[words().say(choice) for choice in example.choices] if example else [],
        right=words().say(example.answer) if example else "",
        why=words().say(example.why) if example else "",
        flags=_flags(line),
        facts=_facts(reading) if reading else [],
        columns=[
            gettext("Choice"),
            (gettext("People"), "numeric"),
            (gettext("Upper group"), "numeric"),
            (gettext("Lower group"), "numeric"),
        ],
        rows=_choices(line, example),
        groups=reading.groups if reading else 0,
        retired=_retired(line, report),
        reason=line.retired.reason if line.retired else "",
        may_retire=report.may_retire,
    )


def _facts(reading: ItemReading) -> list[Message]:
    unused = unused_sentence(reading)
    return [
        difficulty_sentence(reading),
        discrimination_sentence(reading),
        language_sentence(reading),
        *([] if unused is None else [unused]),
    ]


def _line(line: ItemLine) -> LineView:
    flags = line.reading.flags if line.reading else ()
    example = example_of(line.item)
    return LineView(
        url=url_for("items.show", item=line.item),
        title=_title(line.item, example),
        right=words().say(example.answer) if example else "",
        stage=_stage(line),
        answered=difficulty_sentence(line.reading) if line.reading else None,
        flags=_flags(line),
        is_retired=line.retired is not None,
        needs_a_look=bool(_TO_LOOK_AT.intersection(flags)),
    )


def _title(item: str, example: Question | None) -> str:
    # An item of an older program has no example any more; its name is all that is left.
    return words().say(example.stem) if example else item


def _stage(line: ItemLine) -> str:
    return (
        words().say(STAGE_NAMES[line.stage]) if line.stage else gettext("Every stage, and safety")
    )


def _flags(line: ItemLine) -> list[Message]:
    return [FLAG_WORDS[flag] for flag in line.reading.flags] if line.reading else []


def _choices(line: ItemLine, example: Question | None) -> list[tuple[str, ...]]:
    if line.reading is None:
        return []
    show = words().show
    is_judged = bool(line.reading.groups)
    names = (
        {
            key: words().say(choice)
            for key, choice in zip(example.option_keys, example.choices, strict=True)
        }
        if example
        else {}
    )
    rows: list[tuple[str, ...]] = [
        (
            _choice(names.get(each.choice or "", each.choice), is_right=each.is_right),
            show(each.people),
            show(Rounded(each.upper)) if is_judged else "-",
            show(Rounded(each.lower)) if is_judged else "-",
        )
        for each in line.reading.choices
    ]
    taken = {each.choice for each in line.reading.choices}
    nobody = (show(0), *((show(0), show(0)) if is_judged else ("-", "-")))
    rows.extend(
        (_choice(name, is_right=key == example.option_keys[example.key]), *nobody)
        for key, name in names.items()
        if example and key not in taken
    )
    return rows


def _choice(name: str | None, *, is_right: bool) -> str:
    if name is None:
        return str(gettext("Nothing marked"))
    return str(gettext("%(choice)s (right)", choice=name)) if is_right else name


def _retired(line: ItemLine, report: ItemReport) -> str:
    if line.retired is None:
        return ""
    return str(
        gettext(
            "Not asked since %(day)s, retired by %(person)s.",
            day=words().show(farm_day(line.retired.retired_at)),
            person=report.people.get(line.retired.retired_by, ""),
        )
    )


def _reliability(found: QuizReliability) -> list[str]:
    show = words().show
    if found.mean is None or found.spread is None:
        return [
            str(
                gettext(
                    "%(people)s people took a first quiz of %(count)s questions. It takes "
                    "%(least)s to say how far its totals can be relied on.",
                    people=show(found.people),
                    count=show(found.questions),
                    least=show(LEAST_PEOPLE),
                )
            )
        ]
    sentences = [
        gettext(
            "First quiz of each of %(people)s people: %(mean)s of %(count)s right on average, "
            "standard deviation %(spread)s.",
            people=show(found.people),
            mean=show(Rounded(found.mean)),
            count=show(found.questions),
            spread=show(Rounded(found.spread)),
        )
    ]
    if found.kr21 is not None:
        reliable = min(1.0, max(found.kr21, 0.0))
        error = score_error(found.spread, reliable, found.mean).error
        sentences.append(
            gettext(
                "KR-21 of these totals: %(value)s. A total is off by about %(error)s questions, "
                "so one question more or less says little of a person.",
                value=show(Rounded(found.kr21, 2)),
                error=show(Rounded(error)),
            )
        )
    same = found.same_quiz
    if same is not None and same.alpha is not None and same.interval is not None:
        sentences.append(
            gettext(
                "KR-20 of the quiz that %(people)s of them sat: %(value)s, could be %(lower)s to "
                "%(upper)s.",
                people=show(same.people),
                value=show(Rounded(same.alpha, 2)),
                lower=show(Rounded(same.interval[0], 2)),
                upper=show(Rounded(same.interval[1], 2)),
            )
        )
    return [str(sentence) for sentence in sentences]
