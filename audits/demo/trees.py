"""Trees as they are, and what each auditor makes of them."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from random import Random
from typing import Any, Final

from audits.demo.cast import HARD_BLOCK
from audits.records import Actor
from audits.standard import Standard
from audits.vocabulary import Fault, HeadingRule, Role, Stage

# Share of trees that a steady worker leaves with a fault, and how the faults divide.
STEADY_RATE: Final = {
    Stage.TOP: 0.03,
    Stage.LIMBS: 0.035,
    Stage.COLUMNS: 0.035,
    Stage.HEADING: 0.035,
}
_FAULT_SHARES: Final[Mapping[Stage, Mapping[Fault, int]]] = {
    Stage.TOP: {Fault.HIGH: 5, Fault.BLUNT: 4, Fault.LOW: 1},
    Stage.LIMBS: {Fault.TOO_FEW: 5, Fault.LONG_STUB: 2, Fault.WRONG_LIMB: 2, Fault.FLUSH_CUT: 1},
    Stage.COLUMNS: {Fault.SIDE_BRANCH: 5, Fault.FORK: 3, Fault.UPRIGHT: 2},
    Stage.HEADING: {Fault.LEFT_LONG: 5, Fault.THIN: 2, Fault.THICK: 2},
}
_FAULT_SHARES_UNHEADED: Final = {**_FAULT_SHARES, Stage.HEADING: {Fault.FORBIDDEN: 1}}
_NOTHING_DUE: Final = {Stage.TOP: 0.06, Stage.HEADING: 0.15}
_NO_LARGE_LIMB: Final = 0.12
_MISSED_TREE_RATE: Final = 0.003
_MISSED_SIDE_RATE: Final = 0.004

# In the hard block old frost damage left forks that nobody gets rid of in one winter. The strict
# auditor calls a spur a side branch and a fair stub too long, and reads tops higher than they are.
_HARD_COLUMNS: Final = 4.0
_STRICT_CALLS: Final[Mapping[Stage, tuple[float, Fault]]] = {
    Stage.LIMBS: (0.04, Fault.LONG_STUB),
    Stage.COLUMNS: (0.07, Fault.SIDE_BRANCH),
}
_STRICT_READING_MM: Final = 40.0
# Nobody sees every fault or holds the pole quite still; the owner, whose calls are the measure of
# check trees, looks twice and sees them all.
_OVERLOOKED: Final = 0.06
_READING_MM: Final = 12.0
# One worker's tops drift high; another's limbs are wrong until somebody shows him.
_DRIFT_BEGINS: Final = 0.4
_DRIFTED_RATE: Final = 0.3
TRAINED_AT: Final = 0.5
_UNTRAINED_RATE: Final = 0.22
_TRAINED_RATE: Final = 0.05


@dataclass(frozen=True)
class DemoBlock:
    """
    A block of the simulated farm.

    Parameters
    ----------
    id : int
        The block.
    name : str
        Its name.
    row_ids : tuple of int
        Its rows in order.
    standard : Standard
        The rule written for it.
    """

    id: int
    name: str
    row_ids: tuple[int, ...]
    standard: Standard


@dataclass
class DemoTrees:
    """
    What the crews leave behind, by the true rates of whoever did it.

    Parameters
    ----------
    random : Random
        The simulation's own chance.
    rates : dict of int to dict of Stage to float
        True share of trees left with a fault, by worker.
    drifting, trained : int
        The worker whose tops drift high, and the one who is shown the limbs in mid-season.
    strict : int
        The auditor who calls more faults than there are, by user.
    """

    random: Random
    rates: dict[int, dict[Stage, float]] = field(default_factory=dict)
    drifting: int = 0
    trained: int = 0
    strict: int = 0

    def add_worker(self, worker_id: int) -> None:
        """
        Give a worker rates, some steadier than others.

        Parameters
        ----------
        worker_id : int
            The worker.
        """
        skill = self.random.lognormvariate(0, 0.4)
        self.rates[worker_id] = {
            stage: min(0.3, rate * skill * self.random.lognormvariate(0, 0.3))
            for stage, rate in STEADY_RATE.items()
        }

    def answers(
        self,
        block: DemoBlock,
        workers: Mapping[Stage, int | None],
        season_share: float,
        factor: float,
        auditor: Actor,
    ) -> dict[str, Any]:
        """
        Prune a tree and let an auditor score it.

        Parameters
        ----------
        block : DemoBlock
            Where it stands.
        workers : Mapping of Stage to int or None
            Who did each stage; None where nobody is named.
        season_share : float
            Share of the season gone by, in [0, 1].
        factor : float
            By how much that day's rates are above the usual ones.
        auditor : Actor
            Who looks.

        Returns
        -------
        dict of str to object
            Answers as `audits.scoring.read_answers` takes them.
        """
        return self.as_called(self.tree(block, workers, season_share, factor), auditor)

    def tree(
        self,
        block: DemoBlock,
        workers: Mapping[Stage, int | None],
        season_share: float,
        factor: float,
    ) -> dict[str, Any]:
        """
        Prune a tree.

        Parameters
        ----------
        block : DemoBlock
            Where it stands.
        workers : Mapping of Stage to int or None
            Who did each stage; None where nobody is named.
        season_share : float
            Share of the season gone by, in [0, 1].
        factor : float
            By how much that day's rates are above the usual ones.

        Returns
        -------
        dict of str to object
            What there is to see, as answers.
        """
        if self.random.random() < _MISSED_TREE_RATE * factor:
            return {"missed": "tree"}
        left: dict[str, Any] = {
            "stages": {
                stage.value: self._left(
                    block, stage, self._rate(block, stage, worker, season_share) * factor
                )
                for stage, worker in workers.items()
            }
        }
        if Stage.COLUMNS in workers and self.random.random() < _MISSED_SIDE_RATE * factor:
            left["missed"] = "side"
        return left

    def as_called(self, tree: Mapping[str, Any], auditor: Actor) -> dict[str, Any]:
        """
        Return what an auditor makes of what there is to see.

        Parameters
        ----------
        tree : Mapping of str to object
            What there is to see, as answers.
        auditor : Actor
            Who looks.

        Returns
        -------
        dict of str to object
            The answers.
        """
        if "stages" not in tree:
            return dict(tree)
        called = {
            stage: self._called(Stage(stage), found, auditor)
            for stage, found in tree["stages"].items()
        }
        return {**tree, "stages": called}

    def _rate(
        self, block: DemoBlock, stage: Stage, worker_id: int | None, season_share: float
    ) -> float:
        rate = self.rates[worker_id][stage] if worker_id else STEADY_RATE[stage]
        if worker_id == self.drifting and stage is Stage.TOP and season_share > _DRIFT_BEGINS:
            rate = _DRIFTED_RATE
        if worker_id == self.trained and stage is Stage.LIMBS:
            rate = _UNTRAINED_RATE if season_share < TRAINED_AT else _TRAINED_RATE
        if block.name == HARD_BLOCK and stage is Stage.COLUMNS:
            rate *= _HARD_COLUMNS
        return rate

    def _called(self, stage: Stage, found: dict[str, Any], auditor: Actor) -> dict[str, Any]:
        is_strict = auditor.user_id == self.strict
        if found["kind"] == "top":
            higher = _STRICT_READING_MM if is_strict else 0.0
            read = found["height_mm"] + higher + self.random.gauss(0, _READING_MM)
            return {**found, "height_mm": round(read, 1)}
        is_fault = found["tap"] == "fault"
        if is_fault and auditor.role is not Role.OWNER and self.random.random() < _OVERLOOKED:
            return _right(stage)
        chance, fault = _STRICT_CALLS.get(stage, (0.0, None))
        calls_more = is_strict and fault is not None and found["tap"] == "right"
        if fault is not None and calls_more and self.random.random() < chance:
            return {"kind": "class", "tap": "fault", "faults": [fault.value]}
        return found

    def _left(self, block: DemoBlock, stage: Stage, rate: float) -> dict[str, Any]:
        wrong = self.random.random() < rate
        if stage is Stage.TOP and block.standard.top.measured:
            # A top that was cut wrong is nearly always high.
            spread = 320.0 if wrong else 0.0
            height = block.standard.top.target_mm + spread + self.random.gauss(0, 45)
            return {"kind": "top", "height_mm": round(height, 1)}
        headed = block.standard.heading.rule is HeadingRule.REQUIRED
        if wrong:
            shares = _FAULT_SHARES[stage] if headed else _FAULT_SHARES_UNHEADED[stage]
            fault = self.random.choices(list(shares), weights=list(shares.values()))[0]
            return {"kind": "class", "tap": "fault", "faults": [fault.value]}
        if (headed or stage is Stage.TOP) and self.random.random() < _NOTHING_DUE.get(stage, 0.0):
            return {"kind": "class", "tap": "nothing_due"}
        if stage is Stage.LIMBS and self.random.random() < _NO_LARGE_LIMB:
            return {"kind": "class", "tap": "fewer_none_left"}
        return _right(stage)


def _right(stage: Stage) -> dict[str, Any]:
    removed = {"removed": 2} if stage is Stage.LIMBS else {}
    return {"kind": "class", "tap": "right", **removed}
