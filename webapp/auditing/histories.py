"""The plan and the history of a lot as its page shows them."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from flask_babel import gettext, ngettext

from audits.lot_figures import LotFigures, figures_of_standard
from audits.lot_words import A_LOT, goes_back_sentence, numbers_in_short
from audits.messages import Share
from audits.records import Decision
from audits.services.lots import AuditLine, DrawLine, LotView
from audits.services.planning import LotPlan
from audits.vocabulary import OUTCOME_NAMES, PURPOSE_NAMES, STAGE_NAMES, Outcome, PlanMethod
from webapp.reading import words


@dataclass(frozen=True)
class PlanPage:
    """The sample of a lot's next audit in words."""

    purpose: str
    sample: str
    stages: list[tuple[str, str]]
    risks: str


@dataclass(frozen=True)
class Event:
    """One thing that has happened to a lot."""

    at: datetime
    title: str
    notes: list[str]
    audit_id: int | None = None
    order_id: int | None = None
    outcome: Outcome | None = None
    outcome_words: str = ""


def plan_of(plan: LotPlan) -> PlanPage:
    """Return a plan in words."""
    figures = figures_of_standard(plan.standard, plan.plans, len(plan.places))
    return PlanPage(
        purpose=words().say(PURPOSE_NAMES[plan.purpose]),
        sample=_sample(plan, figures),
        stages=[
            (words().say(STAGE_NAMES[stage]), words().say(numbers_in_short(stage_plan)))
            for stage, stage_plan in plan.plans.items()
        ],
        risks=_risks(plan, figures),
    )


def _sample(plan: LotPlan, figures: LotFigures) -> str:
    trees = len(plan.places)
    if plan.sample_size == trees:
        return str(
            ngettext(
                "The one tree of this lot is looked at.",
                "All %(num)s trees of this lot are looked at.",
                trees,
            )
        )
    return str(
        gettext(
            "At most %(most)s of %(trees)s trees are looked at, drawn by chance; about "
            "%(expected)s where all is well.",
            most=plan.sample_size,
            trees=words().show(trees),
            expected=round(figures.expected_trees),
        )
    )


def history_of(view: LotView, contested: Mapping[int, int]) -> list[Event]:
    """
    Return what has happened to a lot, the latest first.

    `contested` says how many scores of an audit wait for a second person's answer, by its id.
    """
    events = [
        Event(
            at=view.lot.finished_at,
            title=gettext("Pruned"),
            notes=[view.crew.name],
        )
    ]
    for line in view.draws:
        events.append(_drawn(line))
        events += [_audited(line, audit, contested) for audit in line.audits]
    for order in view.orders:
        events.append(Event(order.created_at, gettext("Rework ordered"), [], order_id=order.id))
        if order.done_at is not None:
            events.append(Event(order.done_at, gettext("Rework done"), []))
    # What happened at one moment keeps the order in which it was listed.
    return sorted(events, key=lambda event: event.at)[::-1]


def _risks(plan: LotPlan, figures: LotFigures) -> str:
    if plan.standard.sampling.method is PlanMethod.TABLE:
        # The tables promise no risk: what their plan comes to must be reckoned.
        return words().say(goes_back_sentence(figures, A_LOT))
    promises = [plan.standard.rule(stage).promise for stage in plan.plans]
    acceptable = min(promise.acceptable_fraction for promise in promises)
    rejectable = max(promise.rejectable_fraction for promise in promises)
    return str(
        gettext(
            "A lot with at most %(good)s faulty trees in every stage goes back by chance in at "
            "most %(producer)s of cases. A stage with %(bad)s faulty trees passes in at most "
            "%(consumer)s.",
            good=words().show(Share(acceptable)),
            producer=words().show(Share(plan.standard.producer_risk)),
            bad=words().show(Share(rejectable)),
            consumer=words().show(Share(plan.standard.consumer_risk)),
        )
    )


def _drawn(line: DrawLine) -> Event:
    size = max(plan.plan["sizes"][-1] for plan in line.plans)
    notes = [
        words().say(PURPOSE_NAMES[line.draw.purpose]),
        gettext(
            "%(sample)s of %(trees)s trees", sample=size, trees=words().show(line.draw.lot_size)
        ),
        _stage_names(line),
        gettext("Seed %(seed)s", seed=line.draw.seed),
    ]
    if line.given_up:
        notes.append(gettext("Given up: the reserve did not last"))
    return Event(line.draw.created_at, gettext("Trees drawn"), notes)


def _audited(line: DrawLine, audited: AuditLine, contested: Mapping[int, int]) -> Event:
    audit = audited.audit
    notes = [gettext("Auditor: %(name)s", name=audited.auditor)]
    if audit.sealed_at is None:
        title = gettext("Audit given up") if line.given_up else gettext("Audit begun")
        return Event(audit.started_at, title, notes, audit_id=audit.id)
    issued = _whole(audited.decisions, first=True)
    latest = _whole(audited.decisions, first=False)
    if latest is not issued and latest is not None:
        notes.append(
            gettext("As amended: %(outcome)s", outcome=words().say(OUTCOME_NAMES[latest.outcome]))
        )
    if contested.get(audit.id):
        notes.append(
            ngettext("%(num)s score contested", "%(num)s scores contested", contested[audit.id])
        )
    return Event(
        audit.sealed_at,
        gettext("Verdict"),
        notes,
        audit_id=audit.id,
        outcome=issued.outcome if issued else None,
        outcome_words=words().say(OUTCOME_NAMES[issued.outcome]) if issued else "",
    )


def _whole(decisions: Sequence[Decision], *, first: bool) -> Decision | None:
    """Return the verdict on the lot as a whole: as issued, or as it is after amendments."""
    whole = [decision for decision in decisions if decision.stage is None]
    if not whole:
        return None
    return whole[0 if first else -1]


def _stage_names(line: DrawLine) -> str:
    return ", ".join(words().say(STAGE_NAMES[stage]) for stage in line.draw.stages)
