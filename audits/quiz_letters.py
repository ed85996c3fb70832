"""By what a quiz is told from every other: its key, and what it asks in words."""

import json
from hashlib import sha256
from string import ascii_uppercase
from typing import Final

from audits.messages import Message
from audits.quizzes import Quiz

_CHECKED: Final = 12


def letters_of(quiz: Quiz) -> str:
    """
    Return the letters of the right answers, with a check of what is asked.

    The letters alone would not do: where the right answers stand follows from how many choices
    each question has, so that a quiz without a retired item often has the same letters as before.
    Pictures are left out of the check: they say the same however they are drawn.

    Parameters
    ----------
    quiz : Quiz
        The quiz.

    Returns
    -------
    str
        One letter a question, a hyphen, and 12 hexadecimal digits.
    """
    letters = "".join(ascii_uppercase[place] for place in quiz.key)
    asked = [
        (
            question.item,
            question.option_keys,
            _plain(question.stem),
            [_plain(choice) for choice in question.choices],
        )
        for question in quiz.questions
    ]
    digest = sha256(json.dumps(asked, sort_keys=True).encode()).hexdigest()
    return f"{letters}-{digest[:_CHECKED]}"


def _plain(message: Message) -> tuple[str, list[tuple[str, str]]]:
    values = sorted((name, str(value)) for name, value in message.values.items())
    return message.text, values
