"""Who was there, and when: what a training and a safety brief ask alike."""

from collections.abc import Collection, Sequence
from datetime import date, datetime
from zoneinfo import ZoneInfo

from audits.messages import say
from audits.records import Farm
from audits.services.entries import Entries


def people_there(
    entries: Entries,
    farm: Farm,
    worker_ids: Sequence[int],
    here: Collection[int],
    held_on: date,
    now: datetime,
) -> list[int]:
    """
    Look through who was there on what day.

    Parameters
    ----------
    entries : Entries
        Takes a sentence for each field at fault: `worker_ids`, `held_on`.
    farm : Farm
        The farm, whose calendar counts.
    worker_ids : Sequence of int
        Who is said to have been there.
    here : Collection of int
        Who works on the farm.
    held_on : date
        The day.
    now : datetime
        The present.

    Returns
    -------
    list of int
        Each of them once, in the order in which they were named.
    """
    chosen = list(dict.fromkeys(worker_ids))
    if not chosen:
        entries.add("worker_ids", say("Choose who was there."))
    elif not set(here).issuperset(chosen):
        entries.add("worker_ids", say("Somebody chosen is not on this farm. Choose again."))
    if held_on > now.astimezone(ZoneInfo(farm.time_zone)).date():
        entries.add("held_on", say("This day is still to come."))
    return chosen
