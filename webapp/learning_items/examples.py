"""An example of each quiz item, drawn on a standard in force."""

from functools import lru_cache

from flask import g

from audits.questions import Question
from audits.quizzes import example_question
from audits.services.standards import standard_of
from audits.standard import Standard
from audits.storage.queries import standards as standard_queries
from audits.vocabulary import Method
from webapp.access import actor
from webapp.extensions import database, today

# A farm has few standards in force, and the bank some fifty items.
_KEPT_MADE = 512


def example_of(item: str) -> Question | None:
    """Return a question made from an item, or None where no standard in force asks it."""
    for standard in _standards():
        for method in Method:
            question = _example(standard.model_dump_json(), item, method)
            if question is not None:
                return question
    return None


def _standards() -> list[Standard]:
    if "standards_in_force" not in g:
        with database().read() as connection:
            found = standard_queries.standards_in_force(connection, actor().farm_id, today())
        g.standards_in_force = [standard_of(version) for version in found.values()]
    standards: list[Standard] = g.standards_in_force
    return standards


@lru_cache(maxsize=_KEPT_MADE)
def _example(payload: str, item: str, method: Method) -> Question | None:
    return example_question(Standard.model_validate_json(payload), item, method)
