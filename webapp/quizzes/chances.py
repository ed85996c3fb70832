"""The chance of passing a quiz by guessing, in words."""

from babel.numbers import format_decimal
from flask_babel import gettext

from audits.guessing import chance_of_passing
from audits.quizzes import QUESTIONS
from webapp.reading import words

# Above this a chance reads more plainly in hundredths.
_OFTEN = 0.1


def guessing_words(chance: float) -> str:
    """Return what guessing alone would come to: "By guessing alone, 1 in 2,400 would pass."."""
    if chance > _OFTEN:
        count = round(100 * chance)
        return str(gettext("By guessing alone, %(count)s in 100 would pass.", count=count))
    return str(gettext("By guessing alone, 1 in %(count)s would pass.", count=one_in(chance)))


def guessing_span(pass_mark: int) -> str:
    """Return what guessing comes to in quizzes of three and of four choices a question."""
    three, four = (chance_of_passing([choices] * QUESTIONS, pass_mark) for choices in (3, 4))
    return str(
        gettext(
            "By guessing alone, 1 in %(three)s would pass if each question had three choices,"
            " 1 in %(four)s if each had four.",
            three=one_in(three),
            four=one_in(four),
        )
    )


def one_in(chance: float) -> str:
    """Return how many would have to guess for one to pass, to two places that count."""
    return str(format_decimal(float(f"{1 / chance:.2g}"), "#,##0", locale=words().locale))
