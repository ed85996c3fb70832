"""The command that makes the farm's certificates and shows them."""

import re
import stat
from datetime import timedelta
from ipaddress import ip_address

import pytest
import time_machine
from click.testing import CliRunner
from cryptography import x509

from tests.authority import forge
from webapp import hosts
from webapp.certificates import (
    AUTHORITY_FILE,
    DOWNLOAD_FILE,
    PAGES_FILE,
    fingerprint,
    folder_in,
    load_certificates,
)
from webapp.cli import main
from webapp.config import clock_now

PASSWORD = "a sentence that opens the gate"  # noqa: S105 - opens nothing but a test's farm


@pytest.fixture
def run(tmp_path, monkeypatch):
    """Run a command on a data folder of its own, on a machine called farmbox."""
    monkeypatch.setattr(hosts, "own_name", lambda: "farmbox")
    monkeypatch.setattr(hosts, "own_addresses", lambda: [ip_address("192.168.1.20")])

    def run(*arguments, language="en"):
        return CliRunner().invoke(
            main, ["--data", str(tmp_path), "--language", language, *arguments]
        )

    return run


@pytest.fixture
def farm(run):
    made = run("init", "--farm", "Alkali Flat", "--owner", "Oda", "--password", PASSWORD)
    assert made.exit_code == 0, made.output


def authority(tmp_path) -> x509.Certificate:
    return load_certificates(folder_in(tmp_path), clock_now()).authority


def test_without_a_farm_it_says_what_to_do_first(run, tmp_path):
    refused = run("certs")
    assert refused.exit_code == 1
    assert "pruning-audit init" in refused.output
    assert not folder_in(tmp_path).exists()


@pytest.mark.usefixtures("farm")
def test_it_makes_certificates_for_this_machine_and_says_what_for(run, tmp_path):
    made = run("certs")
    assert made.exit_code == 0, made.output
    assert "The certificates are made." in made.output
    assert "farmbox, farmbox.local, localhost, 192.168.1.20, 127.0.0.1" in made.output
    assert fingerprint(authority(tmp_path)) in made.output
    assert "Whoever has them can pass for this machine" in made.output
    for name in (AUTHORITY_FILE, PAGES_FILE):
        assert stat.S_IMODE((folder_in(tmp_path) / name).stat().st_mode) == 0o600


@pytest.mark.usefixtures("farm")
def test_asked_again_it_shows_what_is_there_and_changes_nothing(run, tmp_path):
    run("certs")
    before = {path.name: path.read_bytes() for path in folder_in(tmp_path).iterdir()}
    shown = run("certs")
    assert shown.exit_code == 0
    assert "are made" not in shown.output
    assert fingerprint(authority(tmp_path)) in shown.output
    assert {path.name: path.read_bytes() for path in folder_in(tmp_path).iterdir()} == before


@pytest.mark.usefixtures("farm")
def test_names_and_addresses_can_be_chosen(run):
    made = run("certs", "--name", "pages.alkali.example", "--ip", "10.0.0.7", "--ip", "fd00::7")
    assert "pages.alkali.example, localhost, 10.0.0.7, fd00::7, 127.0.0.1" in made.output


@pytest.mark.usefixtures("farm")
@pytest.mark.parametrize("language", ["en", "es"])
def test_choices_that_will_not_do_are_quoted_and_nothing_is_made(run, tmp_path, language):
    refused = run("certs", "--name", "com", "--ip", "1.2.3", language=language)
    assert refused.exit_code == 1
    assert '"com"' in refused.output
    assert '"1.2.3"' in refused.output
    assert not folder_in(tmp_path).exists()


@pytest.mark.usefixtures("farm")
def test_a_name_that_the_authority_may_not_speak_for_is_refused(run, tmp_path):
    run("certs")
    before = authority(tmp_path)
    refused = run("certs", "--name", "other.example")
    assert refused.exit_code == 1
    assert "may not speak for other.example" in refused.output
    assert authority(tmp_path) == before
    assert run("certs", "--name", "farmbox.local", "--ip", "192.168.1.20").exit_code == 0


@pytest.mark.usefixtures("farm")
def test_a_new_authority_is_made_only_when_asked_for(run, tmp_path):
    run("certs")
    before = authority(tmp_path)
    renewed = run("certs", "--renew", "--name", "other.example")
    assert renewed.exit_code == 0, renewed.output
    assert authority(tmp_path) != before
    assert "other.example" in renewed.output


@pytest.mark.usefixtures("farm")
def test_a_broken_file_is_named_and_renewing_helps(run, tmp_path):
    run("certs")
    path = folder_in(tmp_path) / AUTHORITY_FILE
    path.write_text("no certificate")
    refused = run("certs")
    assert refused.exit_code == 1
    assert str(path) in refused.output.replace("\n", "")
    assert run("certs", "--renew").exit_code == 0
    assert run("certs").exit_code == 0


@pytest.mark.usefixtures("farm")
def test_pages_that_run_out_are_renewed_under_the_same_authority(run, tmp_path):
    run("certs")
    before = authority(tmp_path)
    with time_machine.travel(clock_now() + timedelta(days=390), tick=False):
        shown = run("certs")
        until = re.search(r"trusted until (\w+ \d+, \d{4})", shown.output)[1]
        assert load_certificates(folder_in(tmp_path), clock_now()).authority == before
    assert until.endswith(str((clock_now() + timedelta(days=785)).year))


@pytest.mark.usefixtures("farm")
def test_the_file_for_desks_lies_beside(run, tmp_path):
    run("certs")
    carried = (folder_in(tmp_path) / DOWNLOAD_FILE).read_bytes()
    assert x509.load_der_x509_certificate(carried) == authority(tmp_path)


@pytest.mark.usefixtures("farm")
def test_pages_of_another_authority_stop_it(run, tmp_path):
    run("certs")
    folder = folder_in(tmp_path)
    forge(folder, tmp_path / "kept.pem", dns=["localhost"])
    run("certs", "--renew")
    (tmp_path / "kept.pem").rename(folder / PAGES_FILE)
    refused = run("certs")
    assert refused.exit_code == 1
    assert "comes from another authority" in refused.output


@pytest.mark.usefixtures("farm")
def test_it_speaks_spanish(run):
    made = run("certs", language="es")
    assert "The " not in made.output
    assert "Huella SHA-256" in made.output
