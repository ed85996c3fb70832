"""Numbers for phones to sign: made here, good for a short time and for one use."""

import hmac
import secrets
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from threading import Lock
from typing import Final

NONCE_LENGTH: Final = timedelta(minutes=2)
# What a phone signs says what it is signed for: it can never be read as a batch of trees.
_PREFIX: Final = "unlock"
_RANDOM_BYTES: Final = 16
_PARTS: Final = 4


class Nonces:
    """
    Makes nonces and takes each of them back once.

    A nonce carries its own time and is signed with the application's secret, so that nothing is
    kept of those that nobody uses. The used ones are remembered for as long as they would be good;
    one made before this process started is refused, since what it forgot could come twice.

    Parameters
    ----------
    secret_key : str
        The application's secret.
    started_at : datetime
        When this process began.
    """

    def __init__(self, secret_key: str, started_at: datetime) -> None:
        self._key = sha256(f"nonces {secret_key}".encode()).digest()
        self._started_at = started_at
        self._used: dict[str, datetime] = {}
        self._lock = Lock()

    def make(self, now: datetime) -> str:
        """Return a fresh nonce."""
        text = f"{_PREFIX}.{_milliseconds(now)}.{secrets.token_urlsafe(_RANDOM_BYTES)}"
        return f"{text}.{self._seal(text)}"

    def take(self, nonce: str, now: datetime) -> bool:
        """Tell whether a nonce is ours, fresh and not used before; from now on it is used."""
        made_at = self._made_at(nonce)
        if made_at is None or not now - NONCE_LENGTH <= made_at <= now:
            return False
        if made_at < self._started_at:
            return False
        with self._lock:
            self._forget_before(now - NONCE_LENGTH)
            if nonce in self._used:
                return False
            self._used[nonce] = made_at
        return True

    def _made_at(self, nonce: str) -> datetime | None:
        parts = nonce.split(".")
        if len(parts) != _PARTS or not nonce.isascii():
            return None
        text, _, seal = nonce.rpartition(".")
        if not hmac.compare_digest(seal, self._seal(text)):
            return None
        return datetime.fromtimestamp(int(parts[1]) / 1000, UTC)

    def _forget_before(self, moment: datetime) -> None:
        self._used = {nonce: made for nonce, made in self._used.items() if made >= moment}

    def _seal(self, text: str) -> str:
        return hmac.new(self._key, text.encode(), sha256).hexdigest()


def _milliseconds(moment: datetime) -> int:
    return round(moment.timestamp() * 1000)
