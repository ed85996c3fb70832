"""Whose standard a printed thing is about."""

from dataclasses import dataclass
from datetime import date

from audits.messages import Message, say
from audits.vocabulary import Method
from printables.fonts import require_letters


@dataclass(frozen=True)
class StandardSubject:
    """
    A block with one version of its standard, as printed on cards and quizzes.

    Parameters
    ----------
    farm, block : str
        Their names.
    version : int
        Number of the standard's version.
    in_force_from : date
        The day from which it holds.
    method : Method, optional
        From where the crew works; it chooses the safety notes.
    low_bloom : bool, optional
        Whether the block has few flower buds this year.
    emergency_location : str, optional
        Where help finds the block.
    first_aider : str, optional
        Who gives first aid.

    Raises
    ------
    InvalidInput
        If a name has letters that the printed font lacks.
    """

    farm: str
    block: str
    version: int
    in_force_from: date
    method: Method = Method.LADDER
    low_bloom: bool = False
    emergency_location: str = ""
    first_aider: str = ""

    def __post_init__(self) -> None:
        require_letters(
            {
                "farm": self.farm,
                "block": self.block,
                "emergency_location": self.emergency_location,
                "first_aider": self.first_aider,
            }
        )

    def version_words(self) -> Message:
        """
        Say which version of the standard this is.

        Returns
        -------
        Message
            Its number and the day from which it holds.
        """
        return say(
            "Standard %(version)s, from %(day)s", version=self.version, day=self.in_force_from
        )
