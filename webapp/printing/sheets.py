"""From the farm's records to what the printables take; for the pages and the command line."""

from datetime import date

from audits.errors import InvalidInput
from audits.learning import make_quiz
from audits.messages import say
from audits.records import Block, Farm, StandardVersion
from audits.services.standards import standard_of
from audits.storage.database import Database
from audits.storage.queries import standards as standard_queries
from audits.vocabulary import Method
from printables.card import CardFormat, pocket_cards
from printables.document import to_pdf
from printables.quiz import quiz_paper
from printables.sheet import Page
from printables.subject import StandardSubject
from webapp.reading import words_of_farm


def block_in_force(database: Database, farm: Farm, block: Block, day: date) -> StandardVersion:
    """Return the standard in force in a block, or say that one must be written first."""
    with database.read() as connection:
        version = standard_queries.standard_in_force(connection, farm.id, block.id, day)
    if version is None:
        raise InvalidInput(
            {
                "block_id": say(
                    "Block %(block)s has no standard in force on %(day)s. Write one first.",
                    block=block.name,
                    day=day,
                )
            }
        )
    return version


def card_pdf(
    database: Database,
    farm: Farm,
    block: Block,
    *,
    day: date,
    languages: tuple[str, ...],
    method: Method,
    page: Page,
    card_format: CardFormat,
    copies: int | None = None,
) -> bytes:
    """Print the pocket cards of a block's standard in force."""
    version = block_in_force(database, farm, block, day)
    return to_pdf(
        pocket_cards(
            _subject(farm, block, version, method),
            standard_of(version),
            [words_of_farm(farm, language) for language in languages],
            page=page,
            card_format=card_format,
            copies=copies,
        )
    )


def quiz_pdf(
    database: Database,
    farm: Farm,
    block: Block,
    *,
    day: date,
    language: str,
    method: Method,
    page: Page,
    seed: int,
    variant: str,
) -> bytes:
    """Print a quiz on a block's standard in force, with its key."""
    version = block_in_force(database, farm, block, day)
    quiz = make_quiz(standard_of(version), seed=seed, variant=variant, method=method)
    return to_pdf(
        quiz_paper(
            _subject(farm, block, version, method), quiz, words_of_farm(farm, language), page=page
        )
    )


def _subject(farm: Farm, block: Block, version: StandardVersion, method: Method) -> StandardSubject:
    return StandardSubject(
        farm=farm.name,
        block=block.name,
        version=version.version,
        in_force_from=version.in_force_from,
        method=method,
        low_bloom=block.low_bloom,
        emergency_location=block.emergency_location or farm.emergency_location,
        first_aider=farm.first_aider,
    )
