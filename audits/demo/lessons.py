"""What happens beside the audits of a season: check trees, trainings, learners, disagreement."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any, Final

from audits.demo.trees import DemoBlock, DemoTrees
from audits.records import Actor
from audits.services import (
    calibrating,
    contesting,
    own_trees,
    second_audits,
    sign_offs,
    training,
)
from audits.services.auditing import Device, TreeEntry
from audits.storage.database import Database
from audits.vocabulary import Result, Stage, TrainingKind

WALK_TREES: Final = 40
# A walk is made where there is something to see.
_FAULTS_ON_WALKS: Final = 2.5

_DEVICE: Final = Device("simulated phone")


@dataclass(frozen=True)
class Lessons:
    """
    Calibration walks, second audits, trainings, learners and a disagreement.

    Parameters
    ----------
    database : Database
        The farm's database.
    owner : Actor
        The owner, whose calls are the measure of calibration walks.
    auditors : sequence of Actor
        Whoever audits, the fair one first.
    trees : DemoTrees
        What is left on the trees, and what auditors make of it.
    client_id : callable
        Makes ids as a device does.
    """

    database: Database
    owner: Actor
    auditors: Sequence[Actor]
    trees: DemoTrees
    client_id: Callable[[], str]

    def walk_check_trees(
        self, block: DemoBlock, pass_id: int, season_share: float, now: datetime
    ) -> None:
        """
        Let the owner and every auditor score the same trees, unseen by each other.

        Parameters
        ----------
        block : DemoBlock
            Where they stand.
        pass_id : int
            The pass, with rows finished.
        season_share : float
            Share of the season gone by, in [0, 1].
        now : datetime
            When it begins.
        """
        walk_id = calibrating.open_walk(
            self.database,
            self.owner,
            pass_id,
            seed=self.trees.random.getrandbits(48),
            now=now,
            trees=WALK_TREES,
            reference_id=self.owner.user_id,
        )
        left: dict[int, dict[str, Any]] = {}
        for auditor in (self.owner, *self.auditors):
            audit_id = calibrating.begin_round(
                self.database,
                auditor,
                walk_id,
                client_id=self.client_id(),
                device=_DEVICE,
                now=now,
            )
            view = calibrating.view_check_audit(self.database, auditor, audit_id).view
            for tree in view.walk:
                if tree.id not in left:
                    who = {
                        stage: view.book.worker_of(stage, tree) for stage in view.book.draw.stages
                    }
                    left[tree.id] = self.trees.tree(block, who, season_share, _FAULTS_ON_WALKS)
            self._score_round(auditor, audit_id, left, now + timedelta(minutes=30))
        calibrating.close_walk(self.database, self.owner, walk_id, now + timedelta(hours=1))

    def audit_again(
        self, first: Actor, left: Mapping[int, Mapping[str, Any]], now: datetime
    ) -> None:
        """
        Make the second audit of the lot just audited, if it was chosen for one.

        Parameters
        ----------
        first : Actor
            Who made the first.
        left : Mapping of int to Mapping of str to object
            What there is to see on its trees, by the tree of the draw.
        now : datetime
            When it begins.
        """
        other = next(one for one in self.auditors if one.user_id != first.user_id)
        for chosen in second_audits.second_audits(self.database, other, now):
            if not (chosen.waits and chosen.may_make):
                continue
            audit_id = second_audits.begin_second_audit(
                self.database,
                other,
                chosen.line.id,
                client_id=self.client_id(),
                device=_DEVICE,
                now=now,
            )
            self._score_round(other, audit_id, left, now + timedelta(minutes=25))

    def _score_round(
        self,
        auditor: Actor,
        audit_id: int,
        left: Mapping[int, Mapping[str, Any]],
        closed_at: datetime,
    ) -> None:
        view = calibrating.view_check_audit(self.database, auditor, audit_id).view
        for tree in view.walk:
            calibrating.score_check_tree(
                self.database,
                auditor,
                audit_id,
                TreeEntry(
                    draw_tree_id=tree.id,
                    client_id=self.client_id(),
                    answers=self.trees.as_called(left[tree.id], auditor),
                    device=_DEVICE,
                ),
                closed_at - timedelta(minutes=5),
            )
        calibrating.close_round(self.database, auditor, audit_id, closed_at)

    def show_limbs(self, worker_id: int, day: date, now: datetime) -> None:
        """
        Note that somebody was shown the limbs in the row.

        Parameters
        ----------
        worker_id : int
            The worker.
        day : date
            The day.
        now : datetime
            When it is noted.
        """
        training.note_training(
            self.database,
            self.auditors[0],
            now,
            worker_ids=[worker_id],
            stage=Stage.LIMBS,
            kind=TrainingKind.IN_ROW,
            held_on=day,
            note="Two largest first, then look again.",
        )

    def begin_learning(self, worker_id: int, stage: Stage, day: date, now: datetime) -> None:
        """
        Let somebody begin to learn a stage.

        Parameters
        ----------
        worker_id : int
            The worker.
        stage : Stage
            The stage.
        day : date
            The day.
        now : datetime
            When it is noted.
        """
        sign_offs.begin_stage(
            self.database, self.auditors[0], worker_id, stage=stage, begun_on=day, now=now
        )

    def sign_off(self, worker_id: int, stage: Stage, now: datetime) -> bool:
        """
        Sign a stage off if its rule is met.

        Parameters
        ----------
        worker_id : int
            The worker.
        stage : Stage
            The stage.
        now : datetime
            When it is signed.

        Returns
        -------
        bool
            Whether it was.
        """
        view = sign_offs.view_learning(self.database, self.auditors[0], worker_id)
        is_met = any(
            progress.stage is stage and progress.is_open and progress.met_at is not None
            for progress in view.stages
        )
        if is_met:
            sign_offs.sign_off(self.database, self.auditors[0], worker_id, stage=stage, now=now)
        return is_met

    def disagree(
        self, actor: Actor, worker_id: int, season: int, now: datetime, *, answered: bool
    ) -> None:
        """
        Disagree with the latest fault that may still be contested, and have it answered or not.

        Parameters
        ----------
        actor : Actor
            The worker, or a supervisor on the worker's behalf.
        worker_id : int
            The worker.
        season : int
            Calendar year in which the season began.
        now : datetime
            The present.
        answered : bool
            Whether the owner answers that the score stands.
        """
        page = own_trees.view_own_trees(
            self.database, actor, worker_id, season, now=now, faults_only=True
        )
        contestable = (
            (tree.tree, score.stage)
            for tree in page.trees
            for score in tree.scores
            if score.result is Result.NONCONFORMING and score.may_disagree
        )
        found = next(contestable, None)
        if found is None:
            return
        tree, stage = found
        contest_id = contesting.raise_contest(
            self.database, actor, tree.audit_id, tree.draw_tree_id, stage, now=now
        )
        if answered:
            contesting.answer_contest(
                self.database,
                self.owner,
                contest_id,
                reason="I walked there with both: the score is right.",
                now=now,
            )
