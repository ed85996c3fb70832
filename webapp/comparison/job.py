"""
Works mixed models out in a process of its own, so that pages go on answering meanwhile.

The farm's database is handed on by environment, as the server's settings are: an address with a
password in it must not stand in the list of processes.
"""

import json
import logging
import os
import subprocess
import sys
import threading
from collections.abc import Callable, Sequence
from datetime import datetime
from typing import Final

from audits.services.fitting import give_up_fits, run_fit
from audits.storage.database import Database
from webapp.config import clock_now

_HANDED_ON: Final = "PRUNING_AUDIT_FITS"
# Whoever walks the rows comes before arithmetic: one core, and last in line for it. Threads of the
# linear algebra that wait for each other on a busy machine took eight times as long as one.
_NICENESS: Final = 10
_ONE_THREAD: Final = {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}

_log = logging.getLogger(__name__)


def start_fits(
    database: Database, farm_id: int, fit_ids: Sequence[int], now: Callable[[], datetime]
) -> threading.Thread | None:
    """
    Start a process that works some fits out, and watch it until it ends.

    A process that ends without having finished leaves a note, so that people can ask again.
    """
    if not fit_ids:
        return None
    url = database.url.render_as_string(hide_password=False)
    handed_on = json.dumps({"database": url, "farm_id": farm_id, "fit_ids": list(fit_ids)})
    try:
        process = subprocess.Popen(
            (sys.executable, "-m", "webapp.comparison.job"),
            env=os.environ | _ONE_THREAD | {_HANDED_ON: handed_on},
            stdin=subprocess.DEVNULL,
        )
    except OSError:
        # A machine without room for one more process; the page says that it can be asked again.
        _log.exception("no process for mixed models could be started")
        give_up_fits(database, farm_id, fit_ids, now())
        return None

    def watch() -> None:
        if process.wait() != 0:
            give_up_fits(database, farm_id, fit_ids, now())

    watcher = threading.Thread(target=watch, name="watch-fits", daemon=True)
    watcher.start()
    return watcher


def main() -> None:
    """Work out what the environment names."""
    work = json.loads(os.environ.pop(_HANDED_ON))
    os.nice(_NICENESS)
    database = Database(work["database"])
    try:
        for fit_id in work["fit_ids"]:
            run_fit(database, work["farm_id"], fit_id, clock_now)
    finally:
        database.close()


if __name__ == "__main__":
    main()
