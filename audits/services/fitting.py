"""
Mixed models: asked for on a page, worked out in the background, kept with their date.

What is asked for is a row; whoever works it out claims the row first, writes how far it is in
transactions of its own, and at the end the result. A row whose process died is found by its age
and can be asked for again.
"""

import logging
import math
from collections import defaultdict
from collections.abc import Callable, Hashable, Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum
from functools import cached_property
from hashlib import sha256
from typing import Any, Final

import sqlalchemy as sa
from pydantic import BaseModel, ConfigDict

from audits.comparison.reasons import NO_FIT_SENTENCES, NoFit
from audits.errors import Busy, NotFound
from audits.estimates import LEAST_TREES_TO_COMPARE
from audits.estimates.intervals import normal_quantile
from audits.messages import Message, say
from audits.records import Actor, MixedFit
from audits.services.access import require_crew_lead
from audits.services.counted import Deviation, counted_heights, counted_lines
from audits.services.farms import the_farm
from audits.storage.database import Database
from audits.storage.queries import comparing as queries
from audits.storage.queries.comparing import ComparedLine
from audits.storage.queries.fetch import insert
from audits.storage.tables import mixed_fit
from audits.vocabulary import FitKind, FitState, Stage

# A fit of the largest farm takes a minute; one that shows no end for so long has no process.
GIVEN_UP_AFTER: Final = timedelta(minutes=10)
_PROGRESS_EVERY: Final = timedelta(seconds=1)
_PENDING: Final = (FitState.ASKED, FitState.RUNNING)

# Shares of the intervals kept: what people read, and what it takes to say "go and look".
READ_LEVEL: Final = 0.95
OUTER_LEVEL: Final = 0.998

_log = logging.getLogger(__name__)


class Factor(StrEnum):
    """What a difference may come from."""

    WORKER = "worker"
    BLOCK = "block"
    AUDITOR = "auditor"


class Stopped(StrEnum):
    """Why a fit has no result although its figures may well have one."""

    PROCESS_ENDED = "process ended"
    PROGRAM_ERROR = "program error"
    NOT_CONVERGED = "not converged"


PROBLEM_SENTENCES: Final[Mapping[str, Message]] = {
    **{str(reason): sentence for reason, sentence in NO_FIT_SENTENCES.items()},
    str(Stopped.PROCESS_ENDED): say("The work was interrupted. Start it again."),
    str(Stopped.PROGRAM_ERROR): say(
        "The program made a mistake here; the server's log has the details."
    ),
    str(Stopped.NOT_CONVERGED): say(
        "The figures did not settle, so none are shown. More audits may help."
    ),
}


class FittedLevel(BaseModel):
    """
    One worker, block or auditor in a fit.

    Parameters
    ----------
    id : int
        Who or which.
    effect : float
        How far it stands from the mean of its kind here: in log odds of a fault, or mm.
    sd : float
        Standard deviation of that distance.
    value : float
        What is to be expected of it where all else is average: a fraction of nonconforming trees,
        or mm above the target.
    interval, outer : tuple of float
        Limits of `value` at 95 % and at 99.8 %.
    trees : int
        Due trees, or measured ones.
    """

    model_config = ConfigDict(frozen=True)

    id: int
    effect: float
    sd: float
    value: float
    interval: tuple[float, float]
    outer: tuple[float, float]
    trees: int

    @property
    def side(self) -> int:
        """1 if the effect is above 0 beyond chance (95 %), -1 if below, else 0."""
        reach = normal_quantile(READ_LEVEL) * self.sd
        return (self.effect > reach) - (self.effect < -reach)


class FitResult(BaseModel):
    """
    What a mixed model came to.

    Parameters
    ----------
    audits, trees : int
        What it rests on.
    average : float
        What is to be expected where worker, block and auditor are average: a fraction, or mm.
    levels : Mapping of str to tuple of FittedLevel
        By factor; a factor with a single level is missing, as there is nothing to tell it from.
    spreads : Mapping of str to float
        Standard deviation between the levels of each factor, on the scale of the model.
    confounded : tuple of (Factor, Factor)
        Factors that divide the trees alike, so that nothing tells them apart.
    figures : str, optional
        Fingerprint of the figures that it was worked out from; empty if none was kept.
    """

    model_config = ConfigDict(frozen=True)

    audits: int
    trees: int
    average: float
    levels: Mapping[Factor, tuple[FittedLevel, ...]]
    spreads: Mapping[Factor, float]
    confounded: tuple[tuple[Factor, Factor], ...] = ()
    figures: str = ""

    @cached_property
    def _by_id(self) -> dict[tuple[Factor, int], FittedLevel]:
        return {(factor, each.id): each for factor, own in self.levels.items() for each in own}

    def level(self, factor: Factor, level_id: int) -> FittedLevel | None:
        """
        Return what the fit says of one worker, block or auditor.

        Parameters
        ----------
        factor : Factor
            Of which kind.
        level_id : int
            Who or which.

        Returns
        -------
        FittedLevel or None
            None if the fit does not know it, or knew too few of its trees to compare.
        """
        found = self._by_id.get((factor, level_id))
        return None if found is None or found.trees < LEAST_TREES_TO_COMPARE else found


@dataclass(frozen=True)
class FitStatus:
    """
    Where the mixed model of one stage stands.

    Parameters
    ----------
    done : MixedFit or None
        The latest fit that has a result.
    result : FitResult or None
        Its result.
    newer_audits : int
        Audits sealed since that are not in it.
    is_outdated : bool
        Whether scores that are in it were amended since, or count otherwise, and no audit came.
    pending : MixedFit or None
        A fit that is being worked out now.
    problem : Message or None
        Why the latest one asked for has no result.
    """

    done: MixedFit | None
    result: FitResult | None
    newer_audits: int
    is_outdated: bool
    pending: MixedFit | None
    problem: Message | None


class _NoResultError(Exception):
    def __init__(self, reason: str) -> None:
        super().__init__(reason)
        self.reason = reason


def ask_for_fits(
    database: Database, actor: Actor, season: int, stage: Stage, now: datetime
) -> list[int]:
    """
    Ask for the mixed models of a stage; what is being worked out already is not asked for twice.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        An owner or supervisor.
    season : int
        Calendar year in which the season began.
    stage : Stage
        The stage.
    now : datetime
        The present.

    Returns
    -------
    list of int
        The fits that somebody has to work out now, of faults and, for measured tops, of heights.

    Raises
    ------
    NotAllowed
        If the person is neither owner nor supervisor.
    """
    require_crew_lead(actor)
    # What there is to fit is read first: nobody who writes has to wait for that.
    with database.read() as connection:
        kinds = _kinds(connection, actor.farm_id, season, stage, now)
    with database.write() as connection:
        return [
            insert(
                connection,
                mixed_fit,
                {
                    "farm_id": actor.farm_id,
                    "season": season,
                    "kind": kind,
                    "stage": stage,
                    "state": FitState.ASKED,
                    "asked_at": now,
                    "asked_by": actor.user_id,
                    "progress": 0.0,
                },
            )
            for kind in kinds
            if not _is_pending(connection, actor.farm_id, season, stage, kind, now)
        ]


def run_fit(
    database: Database, farm_id: int, fit_id: int, clock: Callable[[], datetime]
) -> MixedFit:
    """
    Work a fit out and keep its result.

    Parameters
    ----------
    database : Database
        The farm's database.
    farm_id : int
        The farm.
    fit_id : int
        Which fit; one that somebody has begun already is left to them.
    clock : callable
        Returns the present; it is asked again and again while the work goes on.

    Returns
    -------
    MixedFit
        The fit as it stands afterwards.

    Raises
    ------
    NotFound
        If the farm has no such fit.
    """
    begun_at = clock()
    with database.write() as connection:
        fit = _the_fit(connection, farm_id, fit_id)
        begun = queries.change_fit(
            connection,
            fit,
            farm_id,
            {"state": FitState.RUNNING, "begun_at": begun_at},
            only_in=FitState.ASKED,
        )
    if begun:
        values = _outcome(database, fit, farm_id, begun_at, clock)
        with database.write() as connection:
            queries.change_fit(
                connection,
                fit,
                farm_id,
                {"finished_at": clock(), **values},
                only_in=FitState.RUNNING,
            )
    with database.read() as connection:
        return _the_fit(connection, farm_id, fit_id)


def give_up_fits(database: Database, farm_id: int, fit_ids: Iterable[int], now: datetime) -> None:
    """
    Note that the process that worked on some fits has ended; those with a result keep it.

    Parameters
    ----------
    database : Database
        The farm's database.
    farm_id : int
        The farm.
    fit_ids : Iterable of int
        The fits.
    now : datetime
        The present.
    """
    with database.write() as connection:
        for fit_id in fit_ids:
            fit = queries.fit_by_id(connection, farm_id, fit_id)
            if fit is not None and fit.state in _PENDING:
                _give_up(connection, fit, farm_id, now)


def fit_status(
    connection: sa.Connection,
    farm_id: int,
    season: int,
    stage: Stage,
    kind: FitKind,
    now: datetime,
    *,
    figures: str,
) -> FitStatus:
    """
    Return where the mixed model of a stage stands.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        An open transaction.
    farm_id : int
        The farm.
    season : int
        Calendar year in which the season began.
    stage : Stage
        The stage.
    kind : FitKind
        Faults or heights.
    now : datetime
        The present.
    figures : str
        Fingerprint of the figures as they are now, by `figures_of_lines` or `figures_of_heights`.

    Returns
    -------
    FitStatus
        The latest result, what is under way, and what went wrong.
    """
    fits = queries.fits_of_stage(connection, farm_id, season, stage, kind)
    latest = next(iter(fits), None)
    done = next((fit for fit in fits if fit.state is FitState.DONE), None)
    newer = 0
    if done is not None and done.begun_at is not None:
        newer = queries.audits_sealed_since(connection, farm_id, season, stage, done.begun_at)
    pending = latest if latest is not None and _is_alive(latest, now) else None
    result = FitResult.model_validate(done.result) if done is not None else None
    return FitStatus(
        done=done,
        result=result,
        newer_audits=newer,
        is_outdated=bool(
            result is not None and not newer and result.figures and result.figures != figures
        ),
        pending=pending,
        problem=_problem_of(latest) if latest is not None and pending is None else None,
    )


def figures_of_lines(lines: Iterable[ComparedLine]) -> str:
    """
    Return a fingerprint of the sums that a fit of faults is worked out from.

    Parameters
    ----------
    lines : Iterable of ComparedLine
        Lines of trees that one person alone did.

    Returns
    -------
    str
        The same for the same sums, in whatever order they come.
    """
    return _fingerprint(
        (
            line.audit_id,
            line.worker_id,
            line.block_id,
            line.auditor_id,
            line.due,
            line.nonconforming,
        )
        for line in lines
    )


def figures_of_heights(heights: Iterable[Deviation]) -> str:
    """
    Return a fingerprint of the heights that a fit is worked out from.

    Parameters
    ----------
    heights : Iterable of Deviation
        The measured trees.

    Returns
    -------
    str
        The same for the same heights, in whatever order they come.
    """
    return _fingerprint(
        (each.tree.audit_id, each.tree.worker_id, each.tree.block_id, each.tree.auditor_id, each.mm)
        for each in heights
    )


def _fingerprint(rows: Iterable[tuple[float | None, ...]]) -> str:
    digest = sha256()
    for row in sorted(map(repr, rows)):
        digest.update(row.encode())
    return digest.hexdigest()


def pending_fits(
    database: Database, actor: Actor, season: int, stage: Stage, now: datetime
) -> list[MixedFit]:
    """
    Return what is being worked out for a stage just now.

    Parameters
    ----------
    database : Database
        The farm's database.
    actor : Actor
        An owner or supervisor.
    season : int
        Calendar year in which the season began.
    stage : Stage
        The stage.
    now : datetime
        The present.

    Returns
    -------
    list of MixedFit
        Fits asked for or begun, their processes alive as far as one can tell.

    Raises
    ------
    NotAllowed
        If the person is neither owner nor supervisor.
    """
    require_crew_lead(actor)
    with database.read() as connection:
        return [
            fit
            for kind in FitKind
            for fit in queries.fits_of_stage(connection, actor.farm_id, season, stage, kind)[:1]
            if _is_alive(fit, now)
        ]


# --- rows ----------------------------------------------------------------------------------------


def _is_alive(fit: MixedFit, now: datetime) -> bool:
    since = fit.begun_at or fit.asked_at
    return fit.state in _PENDING and now - since < GIVEN_UP_AFTER


def _is_pending(
    connection: sa.Connection,
    farm_id: int,
    season: int,
    stage: Stage,
    kind: FitKind,
    now: datetime,
) -> bool:
    """Tell whether a fit is under way; one that died is closed."""
    for fit in queries.fits_of_stage(connection, farm_id, season, stage, kind):
        if _is_alive(fit, now):
            return True
        if fit.state in _PENDING:
            _give_up(connection, fit, farm_id, now)
    return False


def _give_up(connection: sa.Connection, fit: MixedFit, farm_id: int, now: datetime) -> None:
    values = {
        "state": FitState.FAILED,
        "finished_at": now,
        "problem": str(Stopped.PROCESS_ENDED),
    }
    queries.change_fit(connection, fit, farm_id, values, only_in=fit.state)


def _problem_of(fit: MixedFit) -> Message | None:
    if fit.state in _PENDING:
        return PROBLEM_SENTENCES[str(Stopped.PROCESS_ENDED)]
    if fit.state is not FitState.FAILED:
        return None
    return PROBLEM_SENTENCES.get(fit.problem or "", PROBLEM_SENTENCES[str(Stopped.PROGRAM_ERROR)])


def _the_fit(connection: sa.Connection, farm_id: int, fit_id: int) -> MixedFit:
    fit = queries.fit_by_id(connection, farm_id, fit_id)
    if fit is None:
        raise NotFound(say("There is no such fit."))
    return fit


def _kinds(
    connection: sa.Connection, farm_id: int, season: int, stage: Stage, now: datetime
) -> list[FitKind]:
    kinds = []
    if counted_lines(connection, farm_id, season, stage, now).own:
        kinds.append(FitKind.FAULTS)
    if stage is Stage.TOP and counted_heights(
        connection, the_farm(connection, farm_id), season, now
    ):
        kinds.append(FitKind.HEIGHTS)
    return kinds


# --- the work ------------------------------------------------------------------------------------


def _outcome(
    database: Database,
    fit: MixedFit,
    farm_id: int,
    begun_at: datetime,
    clock: Callable[[], datetime],
) -> dict[str, Any]:
    """Return what is to be kept of a fit; whatever goes wrong is kept too."""
    try:
        result = _worked_out(
            database, fit, farm_id, begun_at, _teller(database, fit, farm_id, clock)
        )
    except _NoResultError as error:
        return {"state": FitState.FAILED, "problem": error.reason}
    except Exception:  # noqa: BLE001 - whatever it was, no row may seem at work for ever
        _log.exception("the mixed model could not be fitted")
        return {"state": FitState.FAILED, "problem": str(Stopped.PROGRAM_ERROR)}
    return {
        "state": FitState.DONE,
        "progress": 1.0,
        "result": result.model_dump(mode="json"),
    }


def _teller(
    database: Database, fit: MixedFit, farm_id: int, clock: Callable[[], datetime]
) -> Callable[[float], None]:
    """Return what writes down how far the work is, not more often than anybody looks."""
    told_at: datetime | None = None

    def tell(done: float) -> None:
        nonlocal told_at
        now = clock()
        if told_at is not None and now - told_at < _PROGRESS_EVERY:
            return
        told_at = now
        progress = {"progress": min(max(float(done), 0.0), 1.0)}
        # Nobody's minute of work is given up because the database was busy just then.
        with suppress(Busy), database.write() as connection:
            queries.change_fit(connection, fit, farm_id, progress, only_in=FitState.RUNNING)

    return tell


def _worked_out(
    database: Database,
    fit: MixedFit,
    farm_id: int,
    begun_at: datetime,
    tell: Callable[[float], None],
) -> FitResult:
    with database.read() as connection:
        if fit.kind is FitKind.HEIGHTS:
            farm = the_farm(connection, farm_id)
            heights = counted_heights(connection, farm, fit.season, begun_at)
        else:
            lines = counted_lines(connection, farm_id, fit.season, fit.stage, begun_at).own
    if fit.kind is FitKind.HEIGHTS:
        result = _fitted_heights(
            [each.mm for each in heights],
            {
                Factor.WORKER: [each.tree.worker_id for each in heights],
                Factor.BLOCK: [each.tree.block_id for each in heights],
                Factor.AUDITOR: [each.tree.auditor_id for each in heights],
            },
            audits=len({each.tree.audit_id for each in heights}),
            tell=tell,
        )
        return result.model_copy(update={"figures": figures_of_heights(heights)})
    result = _fitted_faults(
        [line.nonconforming for line in lines],
        [line.due for line in lines],
        {
            Factor.WORKER: [line.worker_id for line in lines],
            Factor.BLOCK: [line.block_id for line in lines],
            Factor.AUDITOR: [line.auditor_id for line in lines],
        },
        audits=len({line.audit_id for line in lines}),
        tell=tell,
    )
    return result.model_copy(update={"figures": figures_of_lines(lines)})


def _fitted_faults(
    nonconforming: Sequence[int],
    due: Sequence[int],
    factors: Mapping[Factor, Sequence[Hashable]],
    *,
    audits: int,
    tell: Callable[[float], None],
) -> FitResult:
    """
    Fit faults to worker, block and auditor, and keep what pages need of it.

    Raises
    ------
    _NoResultError
        If nothing can be told apart, or the search did not arrive.
    """
    from audits.comparison.crossed import logistic  # noqa: PLC0415 - loads numpy
    from audits.comparison.mixed_binomial import fit_binomial_mixed  # noqa: PLC0415

    fit = fit_binomial_mixed(nonconforming, due, _plain(factors), progress=tell)
    if isinstance(fit, NoFit):
        raise _NoResultError(str(fit))
    if not fit.converged:
        raise _NoResultError(str(Stopped.NOT_CONVERGED))
    effects = _effects(fit)
    weights = []
    for row, trees in enumerate(due):
        chance = logistic(
            fit.intercept
            + sum(effects[str(factor)][column[row]] for factor, column in factors.items())
        )
        weights.append(trees * chance * (1 - chance))
    return _result(
        fit,
        fit.average_logits,
        factors,
        due,
        weights,
        audits=audits,
        average=logistic(fit.intercept),
        written=logistic,
    )


def _fitted_heights(
    deviations_mm: Sequence[float],
    factors: Mapping[Factor, Sequence[Hashable]],
    *,
    audits: int,
    tell: Callable[[float], None],
) -> FitResult:
    """
    Fit distances from the target to worker, block and auditor.

    Raises
    ------
    _NoResultError
        If nothing can be told apart, or the search did not arrive.
    """
    from audits.comparison.mixed_linear import fit_linear_mixed  # noqa: PLC0415 - loads numpy

    fit = fit_linear_mixed(deviations_mm, _plain(factors), progress=tell)
    if isinstance(fit, NoFit):
        raise _NoResultError(str(fit))
    if not fit.converged:
        raise _NoResultError(str(Stopped.NOT_CONVERGED))
    return _result(
        fit,
        fit.average_values,
        factors,
        [1] * len(deviations_mm),
        [1 / fit.var_residual] * len(deviations_mm),
        audits=audits,
        average=fit.intercept,
        written=lambda value: value,
    )


def _effects(fit: Any) -> dict[str, dict[Hashable, float]]:  # noqa: ANN401 - as below
    return {
        name: dict(zip(levels, fit.effects[name], strict=True))
        for name, levels in fit.levels.items()
    }


def _plain(factors: Mapping[Factor, Sequence[Hashable]]) -> dict[str, Sequence[Hashable]]:
    return {str(factor): column for factor, column in factors.items()}


def _result(
    fit: Any,  # noqa: ANN401 - a binomial or a linear fit, alike in what is read here
    averages: Mapping[str, Sequence[float]],
    factors: Mapping[Factor, Sequence[Hashable]],
    trees: Sequence[int],
    weights: Sequence[float],
    *,
    audits: int,
    average: float,
    written: Callable[[float], float],
) -> FitResult:
    from audits.comparison.contrasts import contrasts  # noqa: PLC0415 - loads numpy

    apart = contrasts(_plain(factors), weights, fit.variances, _effects(fit))
    read, outer = normal_quantile(READ_LEVEL), normal_quantile(OUTER_LEVEL)
    levels: dict[Factor, tuple[FittedLevel, ...]] = {}
    for factor, column in factors.items():
        if str(factor) in fit.one_level:
            continue
        trees_at: dict[Hashable, int] = defaultdict(int)
        for level, count in zip(column, trees, strict=True):
            trees_at[level] += count
        name = str(factor)
        levels[factor] = tuple(
            FittedLevel(
                id=level,
                effect=apart[name][level].effect,
                sd=apart[name][level].sd,
                value=written(middle),
                interval=(written(middle - read * spread), written(middle + read * spread)),
                outer=(written(middle - outer * spread), written(middle + outer * spread)),
                trees=trees_at[level],
            )
            for level, middle, spread in zip(
                fit.levels[name], averages[name], fit.average_sds[name], strict=True
            )
        )
    return FitResult(
        audits=audits,
        trees=sum(trees),
        average=average,
        levels=levels,
        spreads={factor: math.sqrt(fit.variances[str(factor)]) for factor in levels},
        confounded=tuple((Factor(one), Factor(other)) for one, other in fit.confounded),
    )
