"""Answers to phones: JSON with a word to go by and a sentence in every language."""

from flask import Response, jsonify
from flask.typing import ResponseReturnValue

from audits.messages import Message, Words
from audits.services.accounts import LANGUAGES
from webapp.extensions import farm
from webapp.reading import words_of_farm


def in_every_language(message: Message | str) -> dict[str, str]:
    """Return a message by language: the phone shows the one that its person reads."""
    return {words.language: words.say(message) for words in _languages()}


def problem_answer(problem: str, message: Message | str, status: int) -> ResponseReturnValue:
    """Return why a phone was refused."""
    answer: Response = jsonify({"problem": problem, "words": in_every_language(message)})
    return answer, status


def _languages() -> list[Words]:
    return [words_of_farm(farm(), language) for language in LANGUAGES]
