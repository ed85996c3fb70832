"""Where an audit stands, in the words of its screens."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from flask_babel import gettext, ngettext

from audits.messages import Message
from audits.sampling import lot_reason
from audits.services.auditing import AuditView
from audits.services.scorebook import StageStanding, lot_standing
from audits.vocabulary import OUTCOME_NAMES, STAGE_NAMES, Outcome, Stage
from webapp.reading import words


@dataclass(frozen=True)
class Sign:
    """Carry on or stop, with the reason."""

    state: str
    words: str
    reason: str | None


@dataclass(frozen=True)
class StageLine:
    """Where one stage stands, for a list."""

    stage: Stage
    name: str
    outcome: Outcome
    outcome_words: str
    reason: str


@dataclass(frozen=True)
class LotLine:
    """Where the lot as a whole stands."""

    outcome: Outcome
    outcome_words: str
    reason: str


def sign_of(view: AuditView) -> Sign:
    """Return the sign of an audit: whether another tree is to be scored."""
    if view.next_tree is None:
        return Sign("stop", gettext("Stop"), lot_line(view.standings).reason)
    return Sign("carry_on", gettext("Carry on"), _trees_left(view.standings))


def stage_lines(standings: Sequence[StageStanding]) -> list[StageLine]:
    """Return where each stage stands, with its reason in one sentence."""
    return [
        StageLine(
            stage=standing.stage,
            name=words().say(STAGE_NAMES[standing.stage]),
            outcome=standing.outcome,
            outcome_words=words().say(OUTCOME_NAMES[standing.outcome]),
            reason=sentence(standing.verdict.reason),
        )
        for standing in standings
    ]


def lot_line(standings: Sequence[StageStanding]) -> LotLine:
    """Return where the lot as a whole stands, with its reason in one sentence."""
    outcome = lot_standing(standings)
    return LotLine(
        outcome=outcome,
        outcome_words=words().say(OUTCOME_NAMES[outcome]),
        reason=sentence(lot_reason([standing.verdict for standing in standings])),
    )


def tallies(standings: Sequence[StageStanding]) -> Mapping[Stage, str]:
    """Return what stands beside each stage's name: faults so far, and how many are allowed."""
    return {standing.stage: _tally(standing) for standing in standings}


def sentence(message: Message) -> str:
    """Return a message with its full stop."""
    text = words().say(message)
    return text if text.endswith(".") else f"{text}."


def _tally(standing: StageStanding) -> str:
    if standing.outcome is not Outcome.OPEN:
        return words().say(OUTCOME_NAMES[standing.outcome])
    most = standing.most_not_lost
    if most is None:
        return str(gettext("the mean decides"))
    return str(
        gettext(
            "%(found)s, up to %(most)s allowed",
            found=ngettext("%(num)s fault", "%(num)s faults", standing.tally.nonconforming),
            most=most,
        )
    )


def _trees_left(standings: Sequence[StageStanding]) -> str:
    left = [standing.trees_left for standing in standings if standing.outcome is Outcome.OPEN]
    fewest = max(more.fewest for more in left)
    most = max(more.most for more in left)
    if fewest == most:
        trees = ngettext("%(num)s more tree.", "%(num)s more trees.", most)
    else:
        trees = gettext("%(fewest)s to %(most)s more trees.", fewest=fewest, most=most)
    lost = [
        words().say(STAGE_NAMES[standing.stage])
        for standing in standings
        if standing.outcome is Outcome.NOT_ACCEPTED
    ]
    if not lost:
        return str(trees)
    return str(gettext("%(stages)s not accepted. %(trees)s", stages=", ".join(lost), trees=trees))
