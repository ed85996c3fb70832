"""The application as a visitor meets it: a fresh database, a fixed clock, one client a person."""

import shutil
from datetime import UTC, datetime
from pathlib import Path

import pytest
from jinja2 import FileSystemBytecodeCache

from audits.storage.database import Database
from audits.storage.schema import upgrade
from audits.vocabulary import Role
from tests.orchard import PASSWORD, Orchard, plant_orchard
from webapp.app import create_app
from webapp.config import Settings

NOW = datetime(2026, 1, 20, 17, 0, tzinfo=UTC)


@pytest.fixture(scope="session")
def planted(tmp_path_factory) -> tuple[Path, Orchard]:
    """A database file with the invented farm, planted once; every test gets a copy."""
    path = tmp_path_factory.mktemp("planted") / "farm.db"
    database = Database(f"sqlite:///{path}", durable=False)
    upgrade(database)
    orchard = plant_orchard(database, now=NOW)
    database.close()
    return path, orchard


@pytest.fixture(scope="session")
def compiled_templates(tmp_path_factory) -> FileSystemBytecodeCache:
    """What templates compile to: each test makes an application of its own."""
    return FileSystemBytecodeCache(str(tmp_path_factory.mktemp("templates")))


@pytest.fixture
def app(tmp_path, request, compiled_templates):
    path = tmp_path / "farm.db"
    if "orchard" in request.fixturenames:
        shutil.copyfile(request.getfixturevalue("planted")[0], path)
    secret = "signs the cookies of tests"  # noqa: S105 - nothing but tests is signed with it
    app = create_app(Settings(f"sqlite:///{path}", secret_key=secret, now=lambda: NOW))
    app.config.update(TESTING=True, WTF_CSRF_ENABLED=False)
    app.jinja_env.bytecode_cache = compiled_templates
    yield app
    app.extensions["pruning_audit_database"].close()


@pytest.fixture
def database(app) -> Database:
    return app.extensions["pruning_audit_database"]


@pytest.fixture
def orchard(planted) -> Orchard:
    """An invented farm, in the application's database: see tests/orchard.py for who works there."""
    return planted[1]


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
