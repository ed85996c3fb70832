"""Who may do what: the one place where services ask."""

from typing import Final

from audits.errors import NotAllowed
from audits.messages import say
from audits.records import Actor, User
from audits.vocabulary import Role

_CREW_LEADS: Final = (Role.OWNER, Role.SUPERVISOR)


def require_role(actor: Actor, *roles: Role) -> None:
    """
    Refuse anyone whose role is not listed.

    Parameters
    ----------
    actor : Actor
        The signed-in person.
    *roles : Role
        The roles that may go on.

    Raises
    ------
    NotAllowed
        If the person's role is not among them.
    """
    if actor.role not in roles:
        raise NotAllowed(say("Your sign-in is not for this page."))


def require_crew_lead(actor: Actor) -> None:
    """
    Let owners and supervisors through.

    Parameters
    ----------
    actor : Actor
        The signed-in person.

    Raises
    ------
    NotAllowed
        If the person is neither.
    """
    require_role(actor, *_CREW_LEADS)


def may_keep_phones(user: User) -> bool:
    """
    Tell whether a person may have phones, and whether what these send is taken without asking.

    Parameters
    ----------
    user : User
        The account.

    Returns
    -------
    bool
        True for those who lead crews, while their account is open.
    """
    return user.disabled_at is None and user.role in _CREW_LEADS


def require_sight_of_worker(actor: Actor, worker_id: int) -> None:
    """
    Let a worker see only their own records; owners and supervisors see every worker's.

    Parameters
    ----------
    actor : Actor
        The signed-in person.
    worker_id : int
        Whose records are asked for.

    Raises
    ------
    NotAllowed
        If a worker asks for somebody else's records.
    """
    if actor.role is Role.WORKER and actor.worker_id != worker_id:
        raise NotAllowed(say("You can see your own records only."))
