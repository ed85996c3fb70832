"""The farm itself: set up once, then changed by its owners."""

from typing import Final, NotRequired, TypedDict, Unpack
from zoneinfo import ZoneInfo

from babel import Locale

from audits.messages import Units, say
from audits.quizzes import QUESTIONS
from audits.records import Actor
from audits.services.access import require_role
from audits.services.accounts import LANGUAGES
from audits.services.entries import LONGEST_TEXT, Entries
from audits.storage import tables
from audits.storage.database import Database
from audits.storage.queries.fetch import insert
from audits.vocabulary import Role

# With fewer right answers than half, guessing alone would pass one in five.
LEAST_PASS_MARK: Final = 5
_MOST_BRIEFING_DAYS: Final = 3 * 365


class FarmEntry(TypedDict):
    """
    What is entered for a farm; the row word is the farm's own word for a row.

    The pass mark counts right answers of a quiz, and a safety brief holds for so many days.
    """

    name: str
    units: Units
    region: str
    language: str
    time_zone: str
    season_start_month: int
    row_word: NotRequired[str]
    emergency_location: NotRequired[str]
    first_aider: NotRequired[str]
    quiz_pass_mark: NotRequired[int]
    briefing_days: NotRequired[int]


def create_farm(database: Database, **entry: Unpack[FarmEntry]) -> int:
    """
    Set up the farm; nobody can be signed in yet.

    Parameters
    ----------
    database : Database
        The farm's database.
    **entry : Unpack[FarmEntry]
        What is entered.

    Returns
    -------
    int
        The farm's id.

    Raises
    ------
    InvalidInput
        If a value cannot be taken; names each field.
    """
    values = _farm_values(entry)
    with database.write() as connection:
        return insert(connection, tables.farm, values)


def edit_farm(database: Database, actor: Actor, **entry: Unpack[FarmEntry]) -> None:
    """
    Change the farm's settings.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        An owner.
    **entry : Unpack[FarmEntry]
        What is entered.

    Raises
    ------
    InvalidInput
        If a value cannot be taken; names each field.
    NotAllowed
        If the person is no owner.
    """
    require_role(actor, Role.OWNER)
    values = _farm_values(entry)
    with database.write() as connection:
        connection.execute(
            tables.farm.update().where(tables.farm.c.id == actor.farm_id).values(**values)
        )


def _farm_values(entry: FarmEntry) -> dict[str, object]:
    entries = Entries()
    values: dict[str, object] = {
        **entry,
        "name": entries.text("name", entry["name"], missing=say("Give the farm a name.")),
        "region": entry["region"].strip().upper(),
        "row_word": entries.text("row_word", entry.get("row_word", ""), longest=20),
        "emergency_location": entries.text(
            "emergency_location", entry.get("emergency_location", ""), longest=LONGEST_TEXT
        ),
        "first_aider": entries.text(
            "first_aider", entry.get("first_aider", ""), longest=LONGEST_TEXT
        ),
    }
    if values["region"] not in _regions():
        entries.add("region", say("Choose a country from the list."))
    if entry["language"] not in LANGUAGES:
        entries.add("language", say("Choose one of the languages offered."))
    if not _is_time_zone(entry["time_zone"]):
        entries.add("time_zone", say("Choose a time zone from the list."))
    entries.whole("season_start_month", entry["season_start_month"], least=1, most=12)
    if "quiz_pass_mark" in entry:
        entries.whole(
            "quiz_pass_mark", entry["quiz_pass_mark"], least=LEAST_PASS_MARK, most=QUESTIONS
        )
    if "briefing_days" in entry:
        entries.whole("briefing_days", entry["briefing_days"], least=1, most=_MOST_BRIEFING_DAYS)
    entries.stop_if_any()
    return values


def _regions() -> frozenset[str]:
    two_letters = 2
    return frozenset(
        code
        for code in map(str, Locale("en").territories)
        if len(code) == two_letters and code.isalpha() and code != "ZZ"
    )


def _is_time_zone(name: str) -> bool:
    try:
        ZoneInfo(name)
    except (KeyError, ValueError, OSError):
        return False
    return True
