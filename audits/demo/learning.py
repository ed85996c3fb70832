"""What the people of the simulated farm learn: quizzes, drawn trees, and safety briefs."""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from random import Random
from typing import Any, Final
from uuid import UUID

from audits.demo.trees import DemoBlock
from audits.practice.cuts import Cuts
from audits.practice.ideal import ideal_pruning
from audits.practice.levels import StageSet, done_before, stage_sets
from audits.practice.pack import PackTree, cuts_of, edition_of, practice_trees
from audits.questions import Question
from audits.quizzes import VARIANTS
from audits.records import Actor
from audits.services import briefings, practising, quiz_attempts, quiz_sittings
from audits.services.farms import the_block
from audits.services.quiz_attempts import QuizPaper
from audits.services.quiz_sittings import SittingChoice
from audits.storage.database import Database
from audits.storage.queries.standards import standards_in_force
from audits.vocabulary import Method, PracticeLevel, Stage

# Days for which a brief holds on this farm, shorter than its season.
BRIEFING_DAYS: Final = 60
# When, as a share of the season, quizzes and briefs come again.
_QUIZ_AGAIN_AT: Final = 0.3
_QUIZ_ON_SCREEN_AT: Final = 0.55
_BRIEF_AGAIN_AT: Final = (0.25, 0.8)
# How well people know an item before the season, and how much they learn until the next quiz, as
# logarithms of odds.
_KNOWN: Final = 1.0
_LEARNED: Final = 0.9
_ABILITY: Final = 0.8
_PRACTISING: Final = 6
_TREES: Final = 6
_SENT_TOGETHER: Final = 4
_RESULTS: Final = (6, 12)
# On a drawn tree, without wood in the hand, people are wrong more often than in the row.
_HARDER_THAN_THE_ROW: Final = 5.0
_MOST_WRONG: Final = 0.75


@dataclass(frozen=True)
class LearningCrew:
    """
    A crew that learns.

    Parameters
    ----------
    languages : Mapping of int to str
        The language that each of its people reads, by worker.
    method : Method
        From where it works.
    block : DemoBlock
        The block whose standard it learns.
    """

    languages: Mapping[int, str]
    method: Method
    block: DemoBlock


@dataclass(frozen=True)
class _Sheet:
    """A quiz as somebody would answer it if every item said what it means."""

    worker_id: int
    paper: QuizPaper
    questions: tuple[Question, ...]
    answers: list[int]
    day: date

    @property
    def others_right(self) -> int:
        """How many answers are right but for the misleading item."""
        misleading = _misleading(self.questions)
        return sum(
            answer == question.key
            for question, answer in zip(self.questions, self.answers, strict=True)
            if question.item != misleading
        )


class DemoLearning:
    """
    Quizzes, practice and briefs of a season, through the services that people use.

    Parameters
    ----------
    database : Database
        The farm's database.
    supervisor, worker : Actor
        Who notes it, and the worker who can sign in.
    rates : Mapping of int to Mapping of Stage to float
        True share of trees left with a fault, by worker.
    days : Sequence of date
        The working days.
    at : Callable
        The moment of an hour and minute of a day.
    random : Random
        Chance of its own, so that the rest of the season stays as it is.
    """

    def __init__(
        self,
        database: Database,
        supervisor: Actor,
        worker: Actor,
        rates: Mapping[int, Mapping[Stage, float]],
        days: Sequence[date],
        at: Callable[[date, int, int], datetime],
        random: Random,
    ) -> None:
        self.database = database
        self.supervisor = supervisor
        self.worker = worker
        self.rates = rates
        self.days = days
        self.at = at
        self.random = random
        # Who does not get what the misleading item says, and takes the other choice.
        self.puzzled: frozenset[int] = frozenset()

    def learn(self, crews: Sequence[LearningCrew]) -> None:
        """
        Let the crews be briefed, practise, and take quizzes.

        Parameters
        ----------
        crews : Sequence of LearningCrew
            The crews.
        """
        with self.database.read() as connection:
            versions = standards_in_force(connection, self.supervisor.farm_id, self.days[0])
        seed = self.random.getrandbits(31)
        abilities = {
            worker_id: self._ability(worker_id) for crew in crews for worker_id in crew.languages
        }
        first = [
            self._sheet(crew, worker_id, versions[crew.block.id].id, seed, abilities[worker_id])
            for crew in crews
            for worker_id in crew.languages
        ]
        self.puzzled = _puzzled(first)
        again = [
            self._sheet_again(sheet, crew, abilities[sheet.worker_id])
            for crew in crews
            for sheet in first
            if sheet.worker_id in list(crew.languages)[:_PRACTISING]
        ]
        for sheet in (*first, *again):
            self._record(sheet)
        for crew in crews:
            self._brief(crew, list(crew.languages))
        self._take_on_screen(crews[0], abilities)
        for crew in crews:
            people = list(crew.languages)[:_PRACTISING]
            self._practise(crew, people, versions[crew.block.id].id)

    # --- briefs ------------------------------------------------------------------------------

    def _brief(self, crew: LearningCrew, people: Sequence[int]) -> None:
        """All but the last are briefed, some of them again; the last one nobody thought of."""
        present = people[:-1]
        halves = (present[::2], present[1::2])
        self._note(crew, present, self.days[0])
        for share, again in zip(_BRIEF_AGAIN_AT, halves, strict=True):
            # Who was away that day keeps an old brief, which lapses.
            self._note(crew, again[:-1], self._day(share))

    def _note(self, crew: LearningCrew, people: Sequence[int], day: date) -> None:
        if people:
            briefings.note_briefing(
                self.database,
                self.supervisor,
                self.at(day, 7, 20),
                worker_ids=people,
                method=crew.method,
                held_on=day,
                language=None,
            )

    # --- quizzes -----------------------------------------------------------------------------

    def _ability(self, worker_id: int) -> float:
        """Return how good somebody is at quizzes: whoever errs less in the row, a little better."""
        mean = sum(self.rates[worker_id].values()) / len(self.rates[worker_id])
        return self.random.gauss(-0.5 * math.log(mean / 0.035), 1.0)

    def _sheet(
        self, crew: LearningCrew, worker_id: int, version_id: int, seed: int, ability: float
    ) -> _Sheet:
        place = list(crew.languages).index(worker_id)
        language = crew.languages[worker_id]
        if crew.method is Method.PLATFORM and place % 2:
            # The first print for those on the platform was in English, and half of them took it.
            language = "en"
        paper = QuizPaper(version_id, seed, VARIANTS[place % len(VARIANTS)], crew.method, language)
        return self._answered(worker_id, paper, ability, self.days[0])

    def _sheet_again(self, before: _Sheet, crew: LearningCrew, ability: float) -> _Sheet:
        """Answer the same quiz in another variant, in one's own language, some weeks later."""
        variant = VARIANTS[(VARIANTS.index(before.paper.variant) + 1) % len(VARIANTS)]
        language = crew.languages[before.worker_id]
        paper = replace(before.paper, variant=variant, language=language)
        day = self._day(_QUIZ_AGAIN_AT)
        return self._answered(before.worker_id, paper, ability + _LEARNED, day)

    def _answered(self, worker_id: int, paper: QuizPaper, ability: float, day: date) -> _Sheet:
        quiz = quiz_attempts.quiz_of(self.database, self.supervisor, paper)
        answers = [self._answer(question, ability) for question in quiz.questions]
        return _Sheet(worker_id, paper, quiz.questions, answers, day)

    def _record(self, sheet: _Sheet) -> None:
        quiz_attempts.record_attempt(
            self.database,
            self.supervisor,
            sheet.paper,
            sheet.worker_id,
            self._as_worded(sheet),
            taken_on=sheet.day,
            now=self.at(sheet.day, 12, 30),
        )

    def _take_on_screen(self, crew: LearningCrew, abilities: Mapping[int, float]) -> None:
        """Let the worker who can sign in take one more on a screen, and begin another."""
        worker_id = next(iter(crew.languages))
        language = crew.languages[worker_id]
        moment = self.at(self._day(_QUIZ_ON_SCREEN_AT), 12, 40)
        for number, is_handed_in in enumerate((True, False)):
            sitting = quiz_sittings.begin_sitting(
                self.database,
                self.worker,
                SittingChoice(worker_id, crew.block.id, language),
                uid=UUID(int=self.random.getrandbits(128), version=4).hex,
                seed=self.random.getrandbits(31),
                variant=VARIANTS[number],
                now=moment + timedelta(days=number),
            )
            paper = QuizPaper(
                sitting.standard_version_id,
                sitting.seed,
                sitting.variant,
                sitting.method,
                sitting.language,
            )
            sheet = self._answered(worker_id, paper, abilities[worker_id] + _LEARNED, moment.date())
            answers = self._as_worded(sheet)
            for place, answer in enumerate(answers if is_handed_in else answers[:4], start=1):
                quiz_sittings.answer_question(
                    self.database, self.worker, sitting.uid, place, answer
                )
            if is_handed_in:
                quiz_sittings.hand_in(
                    self.database, self.worker, sitting.uid, now=moment + timedelta(minutes=9)
                )

    def _answer(self, question: Question, ability: float) -> int:
        chance = 1 / (1 + math.exp(-(_KNOWN + _ABILITY * ability)))
        other = self.random.choice(_wrong(question))
        return question.key if self.random.random() < chance else other

    def _as_worded(self, sheet: _Sheet) -> list[int | None]:
        """Return the answers; to one item as it is worded: right in English, wrong in Spanish."""
        misleading = _misleading(sheet.questions)
        is_understood = sheet.worker_id not in self.puzzled
        is_right = is_understood == (sheet.paper.language == "en")
        return [
            answer
            if question.item != misleading
            else question.key
            if is_right
            else min(_wrong(question), key=lambda place: question.option_keys[place])
            for question, answer in zip(sheet.questions, sheet.answers, strict=True)
        ]

    # --- practice ----------------------------------------------------------------------------

    def _practise(self, crew: LearningCrew, people: Sequence[int], version_id: int) -> None:
        standard = crew.block.standard
        with self.database.read() as connection:
            block = the_block(connection, self.supervisor.farm_id, crew.block.id)
        trees = practice_trees(standard, block.habit, self.random.getrandbits(16), count=_TREES)
        sets = stage_sets(standard)
        for worker_id in people:
            count = self.random.randint(*_RESULTS)
            first = self.random.randint(0, 3)
            items = [
                self._pruned(
                    crew,
                    worker_id,
                    version_id,
                    self.random.choice(trees),
                    self._next_set(sets, number / count),
                    self.at(self.days[min(first + number, len(self.days) - 1)], 12, 45),
                    number / count,
                )
                for number in range(count)
            ]
            self._send(items)

    def _send(self, items: Sequence[dict[str, Any]]) -> None:
        """Let a phone send a few results at a time, a little after the last of them."""
        for start in range(0, len(items), _SENT_TOGETHER):
            sent = items[start : start + _SENT_TOGETHER]
            moment = datetime.fromisoformat(sent[-1]["done_at"]) + timedelta(minutes=20)
            practising.record_results(self.database, self.supervisor, sent, moment)

    def _next_set(self, sets: Sequence[StageSet], share: float) -> StageSet:
        """One stage at a time at first, then two, then the whole tree."""
        level = list(PracticeLevel)[min(2, int(share * 3.5))]
        return self.random.choice([each for each in sets if each.level is level])

    def _pruned(
        self,
        crew: LearningCrew,
        worker_id: int,
        version_id: int,
        tree: PackTree,
        chosen: StageSet,
        moment: datetime,
        share: float,
    ) -> dict[str, Any]:
        standard = crew.block.standard
        before = done_before(tree.tree, standard, chosen.stages)
        ideal = cuts_of(tree, ideal_pruning(tree.tree, standard, chosen.stages, done=before))
        wrong = [
            stage
            for stage in chosen.stages
            if self.random.random() < self._wrong_share(worker_id, stage, share)
        ]
        cuts = self._with_mistakes(ideal, cuts_of(tree, before), wrong)
        return {
            "uid": str(UUID(int=self.random.getrandbits(128), version=4)),
            "kind": "tree",
            "worker_id": worker_id,
            "standard_version_id": version_id,
            "method": crew.method,
            "edition": edition_of(standard),
            "tree_seed": tree.seed,
            "tree_kind": tree.kind,
            "level": chosen.level,
            "stages": list(chosen.stages),
            "cuts": cuts.model_dump(mode="json"),
            "language": crew.languages[worker_id],
            "done_at": moment.isoformat(),
        }

    def _wrong_share(self, worker_id: int, stage: Stage, share: float) -> float:
        rate = _HARDER_THAN_THE_ROW * self.rates[worker_id][stage]
        return min(_MOST_WRONG, 0.05 + rate * (1.5 - share))

    def _with_mistakes(self, ideal: Cuts, before: Cuts, wrong: Sequence[Stage]) -> Cuts:
        """Leave undone what somebody does not see: the top, a limb, the side branches, the ends."""
        taken = [key for key in ideal.limbs if key not in before.limbs]
        missed = self.random.choice(taken) if taken else None
        changes: dict[str, Any] = {}
        if Stage.TOP in wrong:
            changes["top"] = before.top
        if Stage.LIMBS in wrong:
            changes["limbs"] = tuple(key for key in ideal.limbs if key != missed)
        if Stage.COLUMNS in wrong:
            changes["sides"] = before.sides
        if Stage.HEADING in wrong:
            changes["heads"] = before.heads
        return ideal.model_copy(update=changes)

    def _day(self, share: float) -> date:
        return self.days[int(share * len(self.days))]


def _puzzled(sheets: Sequence[_Sheet]) -> frozenset[int]:
    """Return the least able in English, and who in Spanish is as able: one does not get it."""
    by_language = {
        language: {
            sheet.worker_id: sheet.others_right
            for sheet in sheets
            if sheet.paper.language == language
        }
        for language in ("en", "es")
    }
    english, spanish = by_language["en"], by_language["es"]
    least = min(english, key=lambda worker_id: english[worker_id])
    near = min(spanish, key=lambda worker_id: abs(spanish[worker_id] - english[least]))
    return frozenset({least, near})


def _wrong(question: Question) -> list[int]:
    return [place for place in range(len(question.choices)) if place != question.key]


def _misleading(questions: Sequence[Question]) -> str:
    """Return the item whose Spanish wording misleads: the first by name that asks about limbs."""
    return min(
        (question.item for question in questions if question.stage is Stage.LIMBS), default=""
    )
