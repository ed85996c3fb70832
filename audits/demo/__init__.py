"""
An invented season: a farm, two crews and their audits, simulated from known true fault rates.

`cast` says who is who, `trees` what is left on the trees and what an auditor makes of it, `season`
goes through the winter day by day, and `lessons` adds what happens beside the audits.
"""

from audits.demo.cast import (
    FARM_NAME,
    HARD_BLOCK,
    OWNER,
    SECOND_SUPERVISOR,
    SUPERVISOR,
    WORKER,
)
from audits.demo.season import WORKING_DAYS, Demo, SignIn, make_demo

__all__ = [
    "FARM_NAME",
    "HARD_BLOCK",
    "OWNER",
    "SECOND_SUPERVISOR",
    "SUPERVISOR",
    "WORKER",
    "WORKING_DAYS",
    "Demo",
    "SignIn",
    "make_demo",
]
