"""With what diameters were measured: the question on every screen that takes measures."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from flask_babel import gettext, lazy_gettext, ngettext
from werkzeug.datastructures import MultiDict
from wtforms import Field, Form, SelectField

from audits.gauges import BatchState
from audits.messages import Message, mark, say
from audits.scoring import GAUGE
from audits.services.auditing import AuditView
from audits.services.gauges import GaugeChoice, gauge_choice
from audits.services.printing import BatchView, batches_in
from audits.services.scorebook import Scorebook
from audits.vocabulary import BATCH_KIND_NAMES, HeadingRule, Stage
from webapp.access import actor
from webapp.extensions import database, present
from webapp.navigation import way_to
from webapp.reading import words

# What is posted for a caliper, or a gauge that was not printed here.
_OWN: Final = ""
# What has become of a gauge since it was used, where that says something of the measures.
_SINCE: Final = {
    BatchState.FAILED: mark("did not pass a later check"),
    BatchState.WITHDRAWN: mark("withdrawn since"),
}


@dataclass(frozen=True)
class UnusableLine:
    """A gauge that cannot be chosen: its name, why, and where its scale is checked."""

    name: str
    reason: str
    check_url: str | None


@dataclass(frozen=True)
class UsedLine:
    """A gauge of an audit: on how many trees it was used, and what has become of it since."""

    name: str
    trees: str
    since: str
    url: str | None


@dataclass(frozen=True)
class GaugeQuestion:
    """The field to choose a gauge, whether what was posted is refused, and what is not offered."""

    field: Field
    is_refused: bool
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
    is_refused = problem is not None
    if GAUGE not in given and before is not None:
        remembered = last_gauge(before)
        chosen = _OWN if remembered is None else str(remembered)
        if remembered not in {None, *(batch.number for batch in choice.usable)}:
            chosen = _OWN
            problem = say(
                "The gauge %(batch)s of the trees before cannot be used any more. Choose again.",
                batch=f"B{remembered}",
            )
    if not choice.usable and not choice.unusable and chosen == _OWN and problem is None:
        return None
    return GaugeQuestion(_field(choice, chosen, problem), is_refused, unusable_lines(choice))


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


def used_lines(view: AuditView) -> list[UsedLine]:
    """Return with what the diameters of an audit were measured, the printed gauges by number."""
    used = Counter(one.gauge for one in view.answers.values() if one.has_diameters)
    numbers = [number for number in used if number is not None]
    with database().read() as connection:
        batches = batches_in(connection, view.book.farm, numbers, present())
    named = {batch.number: batch for batch in batches}
    return [
        _used_line(number, used[number], named) for number in sorted(used, key=lambda one: one or 0)
    ]


def _used_line(number: int | None, trees: int, named: Mapping[int, BatchView]) -> UsedLine:
    on_trees = str(ngettext("%(num)s tree", "%(num)s trees", trees))
    if number is None:
        return UsedLine(str(gettext("Caliper or own gauge")), on_trees, "", None)
    batch = named.get(number)
    if batch is None:
        return UsedLine(f"B{number}", on_trees, "", None)
    since = _SINCE.get(batch.state)
    return UsedLine(
        words().say(batch_name(batch)),
        on_trees,
        "" if since is None else words().say(since),
        way_to("printing.batch", number=number),
    )


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
