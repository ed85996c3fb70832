"""What the gallery calls how trees grow."""

from typing import Final

from audits.messages import mark
from audits.practice.model import Vigour

VIGOUR_NAMES: Final = {
    Vigour.LOW: mark("Weak"),
    Vigour.MEDIUM: mark("Middling"),
    Vigour.HIGH: mark("Strong"),
}
