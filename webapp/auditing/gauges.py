"""With what diameters were measured: the question on every screen that takes measures."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from flask_babel import gettext, lazy_gettext
from werkzeug.datastructures import MultiDict
from wtforms import Field, Form, SelectField

from audits.messages import Message, say
from audits.scoring import GAUGE, TreeAnswers
from audits.services.auditing import AuditView
from audits.services.gauges import GaugeChoice, gauge_choice
from audits.services.printing import BatchView
from audits.services.scorebook import Scorebook
from audits.vocabulary import BATCH_KIND_NAMES, HeadingRule, Stage
from webapp.access import actor
from webapp.extensions import database, present
from webapp.navigation import way_to
from webapp.reading import words

# What is posted for a caliper, or a gauge that was not printed here.
_OWN: Final = ""


@dataclass(frozen=True)
class UnusableLine:
    """A gauge that cannot be chosen: its name, why, and where its scale is checked."""

    name: str
    reason: str
    check_url: str | None


@dataclass(frozen=True)
class GaugeQuestion:
    """The field to choose a gauge, and the gauges that cannot be chosen."""

    field: Field
    unusable: Sequence[UnusableLine]


class _GaugeForm(Form):
    gauge = SelectField(lazy_gettext("Diameters measured with"))


def gauge_question(
    book: Scorebook,
    stages: Sequence[Stage],
    given: MultiDict[str, str],
    problems: Mapping[str, Message] | None = None,
    *,
    before: AuditView | None = None,
) -> GaugeQuestion | None:
    """
    Ask with what diameters were measured; None where none are, or nothing was printed.

    `given` is the posted form, what `as_form` returned, or empty. `before` are the trees of the
    audit so far: where `given` names none, the gauge of the last one measured is proposed.
    """
    if not asks_diameters(book, stages):
        return None
    choice = gauge_choice(database(), actor(), book.crew_pass.block_id, book.standard, present())
    chosen = given.get(GAUGE, _OWN)
    problem = (problems or {}).get(GAUGE)
    if GAUGE not in given and before is not None:
        remembered = last_gauge(before)
        chosen = _OWN if remembered is None else str(remembered)
        if remembered not in {None, *(batch.number for batch in choice.usable)}:
            chosen = _OWN
            problem = say(
                "The gauge %(batch)s of the trees before cannot be used any more. Choose again.",
                batch=f"B{remembered}",
            )
    if not choice.usable and not choice.unusable and chosen == _OWN:
        return None
    return GaugeQuestion(_field(choice, chosen, problem), unusable_lines(choice))


def asks_diameters(book: Scorebook, stages: Sequence[Stage]) -> bool:
    """Tell whether any of the stages is judged by diameters."""
    return Stage.LIMBS in stages or (
        Stage.HEADING in stages and book.standard.heading.rule is HeadingRule.REQUIRED
    )


def last_gauge(view: AuditView) -> int | None:
    """Return the gauge of the tree whose diameters were measured last; None without one."""
    for tree in reversed(view.tree_of_score.values()):
        answers = view.answers[tree.id]
        if answers.has_diameters:
            return answers.gauge
    return None


def gauge_words(gauge: int | None) -> str:
    """Name a gauge in a few words."""
    return str(gettext("caliper or own gauge")) if gauge is None else f"B{gauge}"


def gauges_used(answers: Sequence[TreeAnswers]) -> dict[int | None, int]:
    """Return with what the diameters of an audit were measured, and on how many trees."""
    used: dict[int | None, int] = {}
    for one in answers:
        if one.has_diameters:
            used[one.gauge] = used.get(one.gauge, 0) + 1
    return dict(sorted(used.items(), key=lambda item: item[0] or 0))


def batch_name(batch: BatchView) -> Message:
    """Name a print batch: its number, what it is, and whose limits it shows."""
    return say(
        "%(batch)s: %(kind)s, %(block)s, version %(version)s",
        batch=f"B{batch.number}",
        kind=say(BATCH_KIND_NAMES[batch.batch.kind]),
        block=batch.block,
        version=batch.version,
    )


def unusable_lines(choice: GaugeChoice) -> list[UnusableLine]:
    """Return the gauges that cannot be chosen, each with why."""
    return [
        UnusableLine(
            words().say(batch_name(one.batch)),
            words().say(one.reason),
            way_to("printing.batch", number=one.batch.number),
        )
        for one in choice.unusable
    ]


def _field(choice: GaugeChoice, chosen: str, problem: Message | None) -> Field:
    options = {_OWN: str(gettext("Caliper or own gauge"))}
    options |= {str(batch.number): words().say(batch_name(batch)) for batch in choice.usable}
    if chosen not in options:
        # Noted before, when it could be used: measures that stay as they are keep it.
        options[chosen] = str(
            gettext("%(batch)s, as noted before", batch=f"B{chosen}")
            if chosen.isdecimal()
            else chosen
        )
    form = _GaugeForm()
    form.gauge.choices = list(options.items())
    form.process(data={GAUGE: chosen})
    if problem is not None:
        form.gauge.errors = [words().say(problem)]
    return form.gauge
