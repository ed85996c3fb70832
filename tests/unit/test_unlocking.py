"""Six digits: which are taken and which are too easy."""

import pytest

from audits.unlocking import are_guessable, are_six_digits


@pytest.mark.parametrize(
    "digits",
    [
        *(6 * digit for digit in "0123456789"),
        "123456",
        "654321",
        "234567",
        "890123",
        "098765",
        "135791",
        "864208",
        "121212",
        "010101",
        "100000",
        "110011",
        "123123",
        "274274",
        "112233",
        "998877",
        "224466",
        "123321",
        "407704",
    ],
)
def test_patterns_are_guessable(digits):
    assert are_guessable(digits)


@pytest.mark.parametrize("digits", ["581937", "749203", "048213", "159753", "990214", "123465"])
def test_other_digits_are_taken(digits):
    assert not are_guessable(digits)


def test_few_of_the_million_are_refused():
    """The count stands in the docstring: refusing more would make the rest easier to guess."""
    assert sum(are_guessable(f"{number:06}") for number in range(10**6)) == 4_400


@pytest.mark.parametrize("text", ["", "12345", "1234567", "12345 ", "12e456", "१२३४५६", "½23456"])
def test_six_digits_are_six_plain_digits(text):
    assert not are_six_digits(text)
