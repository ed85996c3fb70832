"""The application as a visitor meets it: a fresh database, a fixed clock, one client a person."""

from datetime import UTC, datetime

import pytest

from audits.storage.database import Database
from audits.vocabulary import Role
from tests.orchard import PASSWORD, Orchard, plant_orchard
from webapp.app import create_app
from webapp.config import Settings

NOW = datetime(2026, 1, 20, 17, 0, tzinfo=UTC)


@pytest.fixture
def app(tmp_path):
    app = create_app(
        Settings(f"sqlite:///{tmp_path / 'farm.db'}", secret_key="test", now=lambda: NOW)
    )
    app.config.update(TESTING=True, WTF_CSRF_ENABLED=False)
    yield app
    app.extensions["pruning_audit_database"].close()


@pytest.fixture
def database(app) -> Database:
    return app.extensions["pruning_audit_database"]


@pytest.fixture
def orchard(database) -> Orchard:
    """An invented farm: see tests/orchard.py for who works there."""
    return plant_orchard(database, now=NOW)


@pytest.fixture
def sign_in(app, orchard):
    """Return a client signed in under a role, by default as the supervisor."""

    def signed_in(role: Role = Role.SUPERVISOR, language: str = "en"):
        client = app.test_client()
        answer = client.post(
            "/sign-in", data={"name": orchard.sign_ins[role], "password": PASSWORD}
        )
        assert answer.status_code == 302, answer.text
        client.post("/language", data={"language": language, "next": "/"})
        return client

    return signed_in


@pytest.fixture
def supervisor(sign_in):
    return sign_in(Role.SUPERVISOR)


@pytest.fixture
def owner(sign_in):
    return sign_in(Role.OWNER)
