"""Settings: where the farm's data lie and how the pages are served."""

import os
import secrets
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

from platformdirs import user_data_path

_SECRET_LENGTH_BYTES = 32
_OWNER_ONLY = 0o600
_OWNERS_FOLDER = 0o700


def clock_now() -> datetime:
    """Return the present, in UTC. The one place where the application reads the clock."""
    return datetime.now(UTC)


@dataclass(frozen=True)
class Settings:
    """
    What the application needs to know before it starts.

    Parameters
    ----------
    database_url : str
        SQLAlchemy URL.
    secret_key : str
        Signs the browser's cookie; kept beside the data, readable by its owner only.
    https : bool
        Whether browsers reach the pages over https; cookies are then sent over https only.
    hsts : bool
        Whether browsers may keep to https for good: only with a certificate that never stops
        being trusted (see DEVELOPERS.md).
    setup_port : int or None
        Port of the set-up page in plain HTTP, where there is one.
    now : callable
        Returns the present.
    """

    database_url: str
    secret_key: str = field(repr=False)
    https: bool = False
    hsts: bool = False
    setup_port: int | None = None
    now: Callable[[], datetime] = clock_now


def default_folder() -> Path:
    """Return where data are kept unless said otherwise."""
    return Path(os.environ.get("PRUNING_AUDIT_DATA") or user_data_path("pruning-audit"))


def settings_for(folder: Path, database_url: str | None = None, *, https: bool = False) -> Settings:
    """Return the settings for a data folder, making the folder and its secret when missing."""
    folder.mkdir(mode=_OWNERS_FOLDER, parents=True, exist_ok=True)
    url = (
        database_url
        or os.environ.get("PRUNING_AUDIT_DATABASE")
        or f"sqlite:///{folder / 'farm.db'}"
    )
    return Settings(database_url=url, secret_key=_secret(folder / "secret.key"), https=https)


def _secret(path: Path) -> str:
    try:
        descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, _OWNER_ONLY)
    except FileExistsError:
        kept = path.read_text(encoding="ascii").strip()
        if len(kept) < _SECRET_LENGTH_BYTES:
            raise RuntimeError(f"{path} holds no secret: delete it and start again") from None
        return kept
    with os.fdopen(descriptor, "w", encoding="ascii") as file:
        secret = secrets.token_hex(_SECRET_LENGTH_BYTES)
        file.write(secret)
    return secret
