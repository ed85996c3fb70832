"""A fair comparison on the command line: worked out at once, printed by name."""

from collections.abc import Iterator

from audits.errors import NotFound
from audits.messages import Message, Words, say, say_n
from audits.records import Actor, Farm
from audits.services.comparing import Comparison, compare
from audits.services.fitting import ask_for_fits, run_fit
from audits.storage.database import Database
from audits.storage.queries.accounts import users
from audits.vocabulary import STAGE_NAMES, Role, Stage
from webapp.config import clock_now


def report_of(
    database: Database, farm: Farm, season: int, stage: Stage, words: Words
) -> Iterator[str]:
    """Work a stage out and yield the lines of its report; floors hold as on every page."""
    actor = _owner(database, farm)
    for fit_id in ask_for_fits(database, actor, season, stage, clock_now()):
        run_fit(database, farm.id, fit_id, clock_now)
    found = compare(database, actor, season, clock_now(), stage=stage)
    yield words.say(STAGE_NAMES[stage])
    for depth, message in _lines(found):
        yield "  " * depth + words.say(message)
    yield ""


def _lines(found: Comparison) -> Iterator[tuple[int, Message]]:
    """Yield each sentence with how far it is set in."""
    if not found.people:
        yield 1, say("No tree of this season counts for one person yet.")
        return
    set_beside = say_n(
        "%(set_beside)s of %(count)s person has enough trees to be set beside the standard.",
        "%(set_beside)s of %(count)s people have enough trees to be set beside the standard.",
        found.people,
        set_beside=found.set_beside,
    )
    yield 1, set_beside
    if found.fit.problem is not None:
        yield 1, found.fit.problem
    for line in found.lines:
        name = line.worker.name or line.worker.code
        yield 1, _named(name, line.reading.sentence)
        if line.fair is not None:
            yield 2, say("Block and auditor taken out: %(sentence)s", sentence=line.fair)
        for sentence in line.words:
            yield 2, sentence
    for group in (*found.blocks, *found.auditors):
        yield 1, _named(group.name, group.reading)
        if group.words is not None:
            yield 2, group.words


def _named(name: str, sentence: Message) -> Message:
    return say("%(name)s: %(sentence)s", name=name, sentence=sentence)


def _owner(database: Database, farm: Farm) -> Actor:
    """Return the farm's owner, in whose name the command asks."""
    with database.read() as connection:
        owner = next((user for user in users(connection, farm.id) if user.role is Role.OWNER), None)
    if owner is None:
        raise NotFound(say("The farm has no owner yet. Run: pruning-audit init"))
    return Actor(owner.id, farm.id, owner.name, owner.role, owner.language, owner.worker_id)
