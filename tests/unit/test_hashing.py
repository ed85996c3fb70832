"""
How passwords are kept: as costly as the lean argon2id profile of OWASP's cheat sheet asks.

Source: OWASP, Password Storage Cheat Sheet: argon2id with 19 MiB, 2 passes, 1 lane.
"""

from importlib.util import module_from_spec, spec_from_file_location

import pytest

from audits.services import hashing as tested

LEAN_PROFILE = "$argon2id$v=19$m=19456,t=2,p=1$"


@pytest.fixture(scope="module")
def hashing():
    """The module as the program has it: the other tests hash quickly."""
    spec = spec_from_file_location("hashing_as_it_is", tested.__file__)
    module = module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_a_hash_costs_what_the_profile_asks(hashing):
    kept = hashing.hashed("three winters of pruning")
    assert kept.startswith(LEAN_PROFILE)
    assert hashing.matches(kept, "three winters of pruning")
    assert not hashing.matches(kept, "four winters of pruning")
    assert kept != hashing.hashed("three winters of pruning")


def test_a_wrong_name_costs_what_a_wrong_password_does(hashing):
    assert hashing.NOBODYS_HASH.startswith(LEAN_PROFILE)
    assert not hashing.matches(hashing.NOBODYS_HASH, "")


@pytest.mark.parametrize("kept", ["", "plain text", "$argon2id$v=19$m=19456,t=2,p=1$short"])
def test_what_is_no_hash_matches_nothing(hashing, kept):
    assert not hashing.matches(kept, "three winters of pruning")
