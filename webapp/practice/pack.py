"""A pack: the trees of a block with everything that a phone needs to practise without signal."""

from collections.abc import Mapping
from datetime import datetime
from functools import cached_property
from itertools import count
from typing import Any, Final

from audits.coaching_words import FAULT_WORDS
from audits.messages import Message, Words
from audits.practice.cuts import Cuts
from audits.practice.model import Limb, TreeKind
from audits.practice.pack import PackTree, edition_of, practice_trees
from audits.practice.pruning import Pruning, counts_as_side_branch, is_due, pruned_limb
from audits.practice.tasks import tasks_of
from audits.practice.words import (
    KIND_WORDS,
    do_words,
    goal_words,
    head_words,
    limb_words,
    side_words,
    top_words,
    tree_words,
)
from audits.questions import Question
from audits.quizzes import exercises
from audits.records import Block, Farm, StandardVersion
from audits.scoring import possible_faults
from audits.services.accounts import LANGUAGES
from audits.services.standards import standard_of
from audits.standard import Standard
from audits.units import kept_length
from audits.vocabulary import FAULT_NAMES, Method, PracticeLevel
from printables.drawing.svg import to_svg
from printables.question_pictures import question_picture
from webapp.field.packages import moment
from webapp.field.stages import rule_numbers
from webapp.practice.views import tree_views
from webapp.reading import words_of_farm

_EXERCISES: Final = 20
_LOOKED_AT: Final = 5
# Places on branches are told apart far more coarsely.
_DECIMALS: Final = 6


class _Readers:
    """The farm's words in every language."""

    def __init__(self, farm: Farm) -> None:
        self.all = {language: words_of_farm(farm, language) for language in LANGUAGES}

    def say(self, message: Message | str) -> dict[str, str]:
        """Return a message in every language."""
        return {language: words.say(message) for language, words in self.all.items()}

    @cached_property
    def first(self) -> Words:
        """The words for pictures, which are the same in every language."""
        return self.all[LANGUAGES[0]]


def pack_payload(
    farm: Farm, block: Block, version: StandardVersion, method: Method, now: datetime
) -> dict[str, object]:
    """Return the trees and questions of a block, scored on the phone by the same numbers."""
    standard = standard_of(version)
    readers = _Readers(farm)
    trees = practice_trees(standard, block.habit, version.id)
    order = standard.stages_in_use
    faults = {stage: possible_faults(standard, stage, method) for stage in order}
    return {
        "edition": edition_of(standard),
        "made_at": moment(now),
        "block": {"id": block.id, "name": block.name},
        "standard_version_id": version.id,
        "method": method,
        "stages": {
            stage: {
                "stage": stage,
                "rule": rule_numbers(stage, standard, method),
                "faults": faults[stage],
                "missed": {"tree": None, "side": None},
                "tiles": {},
            }
            for stage in order
        },
        "order": order,
        "looked_at": _LOOKED_AT,
        "words": {
            "goal": {stage: readers.say(goal_words(standard, stage, method)) for stage in order},
            "do": {stage: readers.say(do_words(standard, stage)) for stage in order},
            "fault": {
                fault: {
                    "name": readers.say(FAULT_NAMES[fault]),
                    "why": readers.say(FAULT_WORDS[fault].why),
                    "do": readers.say(FAULT_WORDS[fault].instead),
                }
                for stage in order
                for fault in faults[stage]
            },
            "kind": {kind: readers.say(KIND_WORDS[kind]) for kind in TreeKind},
        },
        "trees": [
            _tree(f"t{number}", tree, standard, block.top_wire_mm, readers)
            for number, tree in enumerate(trees, 1)
        ],
        "exercises": [
            _exercise(f"e{number}", question, readers)
            for number, question in enumerate(
                exercises(standard, seed=version.id, count=_EXERCISES, method=method), 1
            )
        ],
    }


def _tree(
    name: str, tree: PackTree, standard: Standard, wire_mm: float | None, readers: _Readers
) -> dict[str, object]:
    tasks = list(tasks_of(tree, standard))
    return {
        "id": name,
        "seed": str(tree.seed),
        "kind": tree.kind,
        "side": tree.side,
        "words": readers.say(tree_words(tree.tree)),
        "top": {
            "tall_mm": kept_length(tree.tree.leader.end[2]),
            "reaches_target": tree.tree.height_mm >= standard.top.target_mm,
        },
        "tops": [
            {
                "id": place.id,
                "at_mm": kept_length(place.at_mm),
                "limb": place.limb,
                "words": readers.say(top_words(place)),
            }
            for place in tree.tops
        ],
        "limbs": [_limb(limb, tree, standard, readers) for limb in tree.tree.limbs],
        "before": _by_level([(task.level, _key(task.stages), task.before) for task in tasks]),
        "ideal": _by_level([(task.level, _key(task.stages), task.ideal) for task in tasks]),
        "views": tree_views(tree, standard, wire_mm),
    }


def _key(stages: tuple[str, ...]) -> str:
    return "+".join(stages)


def _by_level(found: list[tuple[PracticeLevel, str, Cuts]]) -> dict[str, object]:
    levels: dict[str, Any] = {PracticeLevel.ONE: {}, PracticeLevel.TWO: {}}
    for level, key, cuts in found:
        dumped = cuts.model_dump(mode="json")
        if level is PracticeLevel.ALL:
            levels[level] = dumped
        else:
            levels[level][key] = dumped
    return levels


def _limb(limb: Limb, tree: PackTree, standard: Standard, readers: _Readers) -> dict[str, object]:
    return {
        "key": limb.key,
        "union_mm": kept_length(limb.union_mm),
        "mm": limb.measured_mm(standard.limbs.measured_out_mm),
        "side": limb.side,
        "highest_mm": _highest_mm(limb),
        "words": readers.say(limb_words(limb, standard)),
        "due": is_due(limb, standard.heading),
        "sides": [
            {
                "key": side.key,
                "kind": side.kind,
                "counts": counts_as_side_branch(side, standard),
                "highest_mm": kept_length(side.wood.highest_mm),
                "along": round(side.along, _DECIMALS),
                "words": readers.say(side_words(side)),
            }
            for side in limb.side_branches
        ],
        "heads": [
            {
                "id": place.id,
                "at": round(place.at, _DECIMALS),
                "mm": place.mm,
                "highest_mm": _highest_mm(pruned_limb(limb, Pruning(headed={limb.key: place.at}))),
                "words": readers.say(head_words(limb, place)),
            }
            for place in tree.heads.get(limb.key, ())
        ],
    }


def _highest_mm(limb: Limb) -> float:
    return kept_length(max(piece.highest_mm for piece in limb.pieces))


def _exercise(name: str, question: Question, readers: _Readers) -> dict[str, object]:
    numbers = count(1)

    def drawn(picture: Any) -> str | None:  # noqa: ANN401 - any of the kinds of pictures
        if picture is None:
            return None
        prefix = f"{name}-{next(numbers)}"
        return to_svg(question_picture(picture, readers.first), id_prefix=prefix, decorative=True)

    pictures = question.choice_pictures or (None,) * len(question.choices)
    return {
        "id": name,
        "item": question.item,
        "stage": question.stage,
        "stem": readers.say(question.stem),
        "choices": [
            {"key": key, "words": readers.say(words), "svg": drawn(picture)}
            for key, words, picture in zip(
                question.option_keys, question.choices, pictures, strict=True
            )
        ],
        "right": question.option_keys[question.key],
        "why": readers.say(question.why),
        "svg": drawn(question.picture),
        "words": _described(question, readers),
    }


def _described(question: Question, readers: _Readers) -> Mapping[str, str]:
    """Say what the picture shows, in every language."""
    picture = question.picture
    if picture is None:
        return dict.fromkeys(LANGUAGES, "")
    return {
        language: question_picture(picture, words).description
        or question_picture(picture, words).title
        for language, words in readers.all.items()
    }
