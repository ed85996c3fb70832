"""The one order in which people stand in lists: by name."""

import unicodedata
from collections.abc import Iterable

from audits.records import Worker


def by_name(workers: Iterable[Worker]) -> list[Worker]:
    """
    Order workers as people look for them.

    Parameters
    ----------
    workers : Iterable of Worker
        The workers.

    Returns
    -------
    list of Worker
        The same, by name with accents aside; an erased name goes by its code.
    """
    return sorted(workers, key=_plain)


def _plain(worker: Worker) -> tuple[str, str]:
    plain = unicodedata.normalize("NFKD", worker.name or worker.code)
    letters = "".join(letter for letter in plain if not unicodedata.combining(letter))
    return letters.casefold(), worker.code.casefold()
