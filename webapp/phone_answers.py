"""Answers to phones: JSON with a word to go by and a sentence in every language."""

from flask import jsonify
from flask.typing import ResponseReturnValue

from audits.messages import Message
from webapp.extensions import farm
from webapp.reading import in_every_language


def problem_answer(problem: str, sentence: Message | str, status: int) -> ResponseReturnValue:
    """Return why a phone was refused."""
    return jsonify(problem=problem, words=in_every_language(farm(), sentence)), status
