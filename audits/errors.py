"""What can go wrong for a person using the tool, each with a sentence that says what to do."""

from collections.abc import Mapping

from audits.messages import Message


class AuditError(Exception):
    """
    Something the person can put right.

    Parameters
    ----------
    message : Message
        The sentence to show, in the reader's language.
    """

    def __init__(self, message: Message) -> None:
        super().__init__(message)
        self.message = message

    def __str__(self) -> str:
        return str(self.message)


class InvalidInput(AuditError):  # noqa: N818 - reads as what it is at the place it is caught
    """
    Values that cannot be taken as they are; nothing was saved.

    Parameters
    ----------
    problems : Mapping of str to Message
        One sentence for each field at fault, by the field's name.
    """

    def __init__(self, problems: Mapping[str, Message]) -> None:
        super().__init__(next(iter(problems.values())))
        self.problems = dict(problems)


class NotFound(AuditError):  # noqa: N818 - as above
    """The thing asked for does not exist on this farm, or is not for this person."""


class NotAllowed(AuditError):  # noqa: N818 - as above
    """The person may not do this."""


class Conflict(AuditError):  # noqa: N818 - as above
    """The thing has moved on meanwhile, so that the step no longer fits."""


class Busy(AuditError):  # noqa: N818 - as above
    """The database could not take the change in time; trying again helps."""
