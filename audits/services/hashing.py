"""Hashes of what people keep in mind: passwords, and the six digits of a phone."""

from typing import Final

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError

# The lean argon2id profile of OWASP's password storage cheat sheet (19 MiB, 2 passes).
_HASHER: Final = PasswordHasher(time_cost=2, memory_cost=19 * 1024, parallelism=1)
# Spent where there is nobody, so that a wrong name takes as long as a wrong password.
NOBODYS_HASH: Final = (
    "$argon2id$v=19$m=19456,t=2,p=1$bm9ib2R5cyBzYWx0ISE$DPvtP7RsCnkGTV3sDk1eD5oSVPv3VCvE6vWpGsPpJTo"
)


def hashed(secret: str) -> str:
    """
    Hash a secret, which takes its time on purpose.

    Parameters
    ----------
    secret : str
        As typed.

    Returns
    -------
    str
        What may be stored; it carries its own salt.
    """
    return _HASHER.hash(secret)


def matches(kept_hash: str, secret: str) -> bool:
    """
    Tell whether a hash was made of a secret.

    Parameters
    ----------
    kept_hash : str
        As stored.
    secret : str
        As typed.

    Returns
    -------
    bool
        Whether the two belong together.
    """
    try:
        return _HASHER.verify(kept_hash, secret)
    except (VerificationError, InvalidHashError):
        return False
