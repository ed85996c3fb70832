"""
Audits made up at random and kept in memory: what is drawn, what is entered, where it stands.

`MadeUpAudit` is an audit without a database: the same pure parts that the services use (the scoring
engine, the walk with its replacements, `stage_standings`, `AuditView`) over plain records.
`Auditor` makes up what a person with a phone might do next.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime
from functools import cached_property
from random import Random
from typing import Any

from werkzeug.datastructures import MultiDict

from audits.errors import InvalidInput
from audits.lots import reserve_size
from audits.messages import ENGLISH, Message, Units
from audits.records import (
    Audit,
    Block,
    Crew,
    CrewPass,
    Draw,
    DrawStage,
    DrawTree,
    Farm,
    Lot,
    LotRange,
    Row,
    StageScoreRow,
    StandardVersion,
    TreeScoreRow,
)
from audits.sampling import (
    DoublePlan,
    DrawnTree,
    MeasuredPlan,
    Place,
    SinglePlan,
    StagePlan,
    VariablesPlan,
    WavePlan,
    draw_trees,
    walk_sizes,
    walk_with,
)
from audits.sampling.stored import plan_payload
from audits.sampling.tables import PlanKind, table_plan
from audits.scoring import (
    GAUGE,
    ClassAnswer,
    ColumnsMeasure,
    HeadingMeasure,
    LimbsMeasure,
    Measure,
    Missed,
    Tap,
    TopMeasure,
    TreeAnswers,
    TreeScore,
    read_answers,
    score_tree,
)
from audits.services.auditing import AuditView
from audits.services.planning import is_given_up
from audits.services.preparing import PreparedLot
from audits.services.scorebook import Scorebook, measured_values, stage_standings
from audits.standard import (
    ColumnsRule,
    HeadingStageRule,
    LimbsRule,
    SamplingRule,
    Standard,
    TopRule,
    asks_for_side_branch,
)
from audits.vocabulary import (
    STAGE_FAULTS,
    BearingHabit,
    Effort,
    Fault,
    HeadingRule,
    LotState,
    Method,
    Outcome,
    PassKind,
    PlanMethod,
    PlantingKind,
    Purpose,
    Stage,
)
from webapp.auditing.entry import as_form, read_entry
from webapp.auditing.measures import is_measurable, is_only_measured

NOW = datetime(2026, 1, 20, 17, 0, tzinfo=UTC)
PLAN_KINDS = ("single", "double", "two waves", "three waves", "table", "measured")
_CUT_FAULTS = (Fault.FLUSH_CUT, Fault.LOW_STUB, Fault.LONG_STUB, Fault.TORN_BARK)
_INCH_MM = 25.4

Item = dict[str, Any]


@dataclass(frozen=True)
class MadeUpLot:
    """A drawn lot and its farm."""

    farm: Farm
    prepared: PreparedLot
    plans: Mapping[Stage, StagePlan]

    @property
    def standard(self) -> Standard:
        """The criteria."""
        return self.prepared.standard

    @property
    def rows(self) -> dict[int, Row]:
        """Its rows by id."""
        return {row.id: row for _, row in self.prepared.ranges}

    @cached_property
    def book(self) -> Scorebook:
        """What an audit of it is scored with."""
        prepared = self.prepared
        audit = Audit(1, prepared.draw.id, 1, "audit", "phone", 1, None, 2025, NOW, None)
        return Scorebook(
            self.farm, audit, prepared.draw, prepared.crew_pass, prepared.standard, self.plans, ()
        )


def made_up_lot(chance: Random, kinds: Sequence[str] = PLAN_KINDS) -> MadeUpLot:
    """Make up a farm, a standard and a drawn lot; each stage has a plan of one of the kinds."""
    rows = _rows(chance)
    places = [Place(row.id, position) for row in rows for position in range(1, row.tree_count + 1)]
    kind = chance.choice(kinds)
    standard = _standard(chance, by_mean=kind == "measured")
    stages = standard.stages_in_use
    purpose = chance.choice([Purpose.FIRST, Purpose.FIRST, Purpose.RE_AUDIT])
    if purpose is Purpose.RE_AUDIT:
        stages = tuple(sorted(chance.sample(stages, chance.randint(1, len(stages))), key=_order))
    plans = _plans(chance, kind, standard, stages, len(places))
    sizes = walk_sizes(plans.values())
    drawn = draw_trees(
        places,
        sizes,
        chance.choice([0, 1, *[reserve_size(sizes[-1])] * 6]),
        chance.randrange(2**32),
    )
    draw = Draw(31, 21, 11, purpose, stages, "1", len(places), NOW)
    return MadeUpLot(
        _farm(chance),
        _prepared(chance, standard, rows, draw, plans, [*drawn.walk, *drawn.reserve]),
        plans,
    )


def _order(stage: Stage) -> int:
    return list(Stage).index(stage)


def _farm(chance: Random) -> Farm:
    return Farm(
        id=1,
        name="Quince Hollow",
        units=chance.choice(list(Units)),
        region=chance.choice(["US", "MX", "ES"]),
        language="en",
        time_zone="America/New_York",
        season_start_month=11,
        row_word=chance.choice(["", "surco"]),
        emergency_location="Gate 2",
        first_aider="Dot Merrivale",
        quiz_pass_mark=8,
        briefing_days=365,
    )


def _rows(chance: Random) -> list[Row]:
    count = chance.choice([1, 1, 1, 2, 3])
    trees = chance.randint(40, 300) // count
    first, step = chance.randint(1, 9), chance.choice([1, 1, 2])
    panel = chance.choice([None, 8, 10])
    return [
        Row(
            100 + number,
            5,
            first + step * number,
            chance.choice(["north", "road"]),
            trees,
            None,
            panel,
        )
        for number in range(count)
    ]


def _standard(chance: Random, *, by_mean: bool) -> Standard:
    least = chance.randint(0, 3)
    branches = chance.randint(2, 8)
    least_single = chance.randint(1, branches)
    thinnest, tolerance = chance.randint(3, 8), chance.choice([75.0, 150.0, 152.4, 200.0])
    by_mean_of = chance.choice(["top", "heading", "both"]) if by_mean else ""
    top_by_mean = by_mean_of in {"top", "both"}
    heading_by_mean = by_mean_of in {"heading", "both"}
    looked_at = 1 if heading_by_mean else chance.randint(1, 6)
    return Standard(
        top=TopRule(
            target_mm=chance.choice([3_017.52, 2_800.0, chance.randint(150_000, 450_000) / 100]),
            tolerance_mm=tolerance,
            outer_mm=tolerance + 300,
            to_side_branch=chance.random() < 0.7,
            measured=top_by_mean or chance.random() < 0.15,
            by_mean=top_by_mean,
        ),
        limbs=LimbsRule(
            least=least,
            most=least + chance.randint(0, 2),
            measured=chance.random() < 0.1,
            in_use=chance.random() < 0.9,
        ),
        columns=ColumnsRule(
            branches=branches,
            least_single=least_single,
            outer_single=least_single - 1,
            measured=chance.random() < 0.1,
            in_use=chance.random() < 0.9,
        ),
        heading=HeadingStageRule(
            rule=HeadingRule.REQUIRED if heading_by_mean else chance.choice(list(HeadingRule)),
            thinnest_mm=thinnest,
            thickest_mm=thinnest + chance.randint(2, 5),
            looked_at=looked_at,
            most_wrong=0 if heading_by_mean else chance.randint(0, min(2, looked_at - 1)),
            few=chance.randint(0, 3),
            measured=heading_by_mean or chance.random() < 0.15,
            by_mean=heading_by_mean,
        ),
        row_spacing_mm=3_350,
        diameter_guard_mm=chance.choice([0.0, 0.5, 1.0, 1.25]),
        skip_decided=chance.random() < 0.5,
        sampling=SamplingRule(method=PlanMethod.SINGLE),
    )


def _plans(
    chance: Random, kind: str, standard: Standard, stages: Sequence[Stage], lot_size: int
) -> dict[Stage, StagePlan]:
    sizes = _sizes(chance, 3, min(40, lot_size // 2))
    plans: dict[Stage, StagePlan] = {}
    for stage in stages:
        if kind == "measured" and stage in standard.stages_by_mean:
            plans[stage] = _measured_plan(chance, sizes)
        elif kind == "table":
            plans[stage] = _table_plan(chance, lot_size)
        else:
            # Stages mostly share their waves, as they do where a lot is planned as one.
            own = sizes if chance.random() < 0.7 else _sizes(chance, 3, min(40, lot_size // 2))
            plans[stage] = _counting_plan(chance, kind, own)
    return plans


def _sizes(chance: Random, count: int, most: int) -> list[int]:
    return sorted(chance.sample(range(3, most + 1), count))


def _table_plan(chance: Random, lot_size: int) -> SinglePlan | DoublePlan:
    return table_plan(
        lot_size,
        chance.choice([2.5, 4.0, 6.5, 10.0]),
        level=chance.choice(["S-3", "S-4", "I", "II"]),
        inspection=chance.choice(["normal", "tightened", "reduced"]),
        kind=chance.choice([PlanKind.SINGLE, PlanKind.DOUBLE]),
    )


def _measured_plan(chance: Random, sizes: Sequence[int]) -> MeasuredPlan:
    counted = _waves(chance, sizes[-2:])
    return MeasuredPlan(VariablesPlan(sizes[-2], chance.uniform(0.4, 1.6)), counted)


def _counting_plan(chance: Random, kind: str, sizes: Sequence[int]) -> StagePlan:
    if kind in {"single", "measured"}:
        accepted = chance.randint(0, 1 + sizes[-1] // 6)
        return SinglePlan(sizes[-1], accepted, accepted + chance.choice([1, 1, 2]))
    if kind == "double":
        accepted = chance.randint(0, 1 + sizes[0] // 8)
        last = accepted + chance.randint(0, 3)
        return DoublePlan(
            sizes[0],
            accepted,
            accepted + chance.randint(1, 4),
            sizes[-1] - sizes[0],
            last,
            last + chance.choice([1, 1, 2]),
        )
    return _waves(chance, sizes[-2:] if kind == "two waves" else sizes)


def _waves(chance: Random, sizes: Sequence[int]) -> WavePlan:
    accepted: list[int | None] = []
    rejected: list[int | None] = []
    least = 0
    for size in sizes[:-1]:
        number = chance.choice([None, least + chance.randint(0, 1)])
        accepted.append(number)
        rejected.append(chance.choice([None, least + chance.randint(2, 4)]) if size > 6 else None)
        least += chance.randint(0, 2)
    accepted.append(least + chance.randint(0, 2))
    rejected.append(accepted[-1] + chance.choice([1, 1, 2]))
    return WavePlan(tuple(sizes), tuple(accepted), tuple(rejected))


def _prepared(
    chance: Random,
    standard: Standard,
    rows: Sequence[Row],
    draw: Draw,
    plans: Mapping[Stage, StagePlan],
    drawn: Sequence[DrawnTree],
) -> PreparedLot:
    numbers = chance.sample(range(1_000, 9_000), len(drawn))
    return PreparedLot(
        lot=Lot(21, 11, 1, LotState.IN_AUDIT, NOW, None, Effort.EVERY_LOT, chosen=True),
        block=Block(
            5,
            "Creek Block",
            "Hollow Red",
            BearingHabit.STANDARD,
            "M.9",
            3_350.0,
            900.0,
            None,
            2018,
            young=False,
            low_bloom=False,
            emergency_location="",
            retired=False,
        ),
        crew=Crew(3, "Crew A", retired=False),
        crew_pass=CrewPass(
            11, 5, 3, 7, PassKind.DORMANT, chance.choice(list(Method)), NOW, None, None, "row"
        ),
        version=StandardVersion(7, 5, 2, date(2025, 11, 1), standard.model_dump(mode="json"), NOW),
        ranges=[(LotRange(21, row.id, 1, row.tree_count), row) for row in rows],
        draw=draw,
        plans=[
            DrawStage(draw.id, stage, plan_payload(plan), 0.05, 0.1)
            for stage, plan in plans.items()
        ],
        trees=[
            DrawTree(
                number,
                draw.id,
                tree.place.row,
                tree.place.position,
                tree.side,
                tree.wave,
                tree.order,
                tree.reserve_order,
                None,
            )
            for number, tree in zip(numbers, drawn, strict=True)
        ],
    )


@dataclass
class MadeUpAudit:
    """An audit of a made-up lot as its items leave it."""

    lot: MadeUpLot
    given: dict[int, tuple[TreeAnswers, TreeScore]] = field(default_factory=dict)
    replaced: list[tuple[int, int]] = field(default_factory=list)
    walk: list[DrawTree] = field(default_factory=list)
    given_up: bool = False
    sealed: bool = False

    def __post_init__(self) -> None:
        self.walk = [tree for tree in self.lot.prepared.trees if tree.walk_order is not None]

    @property
    def reserve(self) -> list[DrawTree]:
        """The reserve trees that are left, the next one first."""
        taken = {instead for _, instead in self.replaced}
        left = [
            tree
            for tree in self.lot.prepared.trees
            if tree.walk_order is None and tree.id not in taken
        ]
        return sorted(left, key=lambda tree: tree.reserve_order or 0)

    def walks_to(self, tree_id: int) -> bool:
        """Tell whether a tree is in the walk."""
        return any(tree.id == tree_id for tree in self.walk)

    def apply(self, item: Item) -> None:
        """Do what an item says, unless the office would not take it."""
        if self.sealed or self.given_up:
            return
        body = item["body"]
        match item["kind"]:
            case "tree":
                self._answer(body["tree"], body["answers"])
            case "take_back":
                self.given.pop(body["tree"], None)
            case "not_a_tree":
                if body["kind"] != PlantingKind.BEARING:
                    self._replace(body["tree"], body["instead"])
            case "seal":
                self.sealed = self.view().all_decided

    def view(self) -> AuditView:
        """Return the audit as the services see it."""
        waves = {tree.id: tree for tree in self.walk}
        rows = [
            TreeScoreRow(
                number,
                1,
                tree_id,
                1,
                "",
                "phone",
                number,
                number,
                NOW,
                answers.model_dump(mode="json"),
                score.points,
                None,
                None,
            )
            for number, (tree_id, (answers, score)) in enumerate(self.given.items(), start=1)
        ]
        scores = [
            StageScoreRow(
                row.id,
                stage,
                result.result,
                result.faults,
                result.points,
                None,
                waves[row.draw_tree_id].wave,
            )
            for row in rows
            for stage, result in self.given[row.draw_tree_id][1].stages.items()
        ]
        book = self.lot.book
        return AuditView(
            book=book,
            walk=self.walk,
            answered={row.draw_tree_id: row for row in rows},
            scores=scores,
            tree_of_score={row.id: waves[row.draw_tree_id] for row in rows},
            standings=stage_standings(book, scores, measured_values(book, rows)),
            reserve_left=len(self.reserve),
            given_up=self.given_up,
        )

    def _answer(self, tree_id: int, payload: Mapping[str, Any]) -> None:
        book = self.lot.book
        if not self.walks_to(tree_id):
            return
        try:
            answers = read_answers(payload)
            score = score_tree(
                book.standard, answers, method=book.crew_pass.method, stages=book.draw.stages
            )
        except InvalidInput:
            return
        self.given[tree_id] = (answers, score)

    def _replace(self, tree_id: int, instead: int | None) -> None:
        left = {None, *(tree.id for tree in self.reserve)}
        if not self.walks_to(tree_id) or instead not in left:
            return
        self.given.pop(tree_id, None)
        if instead is None:
            self.walk = [tree for tree in self.walk if tree.id != tree_id]
            self.given_up = is_given_up(self.walk, self.lot.book.sample_size)
            return
        self.replaced.append((tree_id, instead))
        by_id = {tree.id: tree for tree in self.lot.prepared.trees}
        drawn = {tree.id: _as_drawn(tree) for tree in by_id.values()}
        ids = {tree.place: tree_id for tree_id, tree in drawn.items()}
        walk = walk_with(
            drawn.values(),
            [(drawn[gone].place, drawn[taken].place) for gone, taken in self.replaced],
            self.lot.prepared.row_ids,
        )
        self.walk = [
            replace(by_id[ids[tree.place]], walk_order=tree.order, wave=tree.wave) for tree in walk
        ]


def _as_drawn(tree: DrawTree) -> DrawnTree:
    place = Place(tree.orchard_row_id, tree.position)
    return DrawnTree(tree.walk_order, place, tree.side, wave=tree.wave)


@dataclass(frozen=True)
class Entry:
    """What a tree's screen holds when it is sent, and what the office reads from it."""

    tree: int
    form: MultiDict[str, str]
    measures: Mapping[str, Any]
    skippable: Sequence[str]
    answers: dict[str, Any] | None
    problems: Mapping[str, Message] = field(default_factory=dict)

    @property
    def gauge(self) -> int | None:
        """The printed gauge that was chosen."""
        return int(self.form[GAUGE]) if self.form.get(GAUGE) else None

    @property
    def tiles(self) -> dict[str, list[str]]:
        """The form without what was typed as measures, which a phone takes by keys."""
        named = {f"{stage}_faults" for stage in Stage} | {str(stage) for stage in Stage}
        return {
            name: values
            for name, values in self.form.lists()
            if name in named or name in {"missed", "kept_missed"}
        }


class Auditor:
    """Somebody who answers trees, errs, goes back, and finds what is no tree."""

    def __init__(self, chance: Random, audit: MadeUpAudit, gauge: int | None = None) -> None:
        self.chance = chance
        self.audit = audit
        self.gauge = gauge
        # How the work is: mostly good, mostly bad, or in between.
        self.share_wrong = chance.choice([0.02, 0.08, 0.2, 0.5])
        self.share_unread = chance.choice([0.0, 0.0, 0.0, 0.1])
        self.step_mm = chance.choice([10.0, _INCH_MM, 1.0, 50.0])
        self.mean_mm = lot_mean(chance, audit.lot.standard)
        self.spread_mm = chance.choice([0.0, 0.4, 30.0, 60.0, 120.0])
        if self.spread_mm == 0.4:
            self.step_mm = 0.1
        self.is_skewed = chance.random() < 0.2
        # Nothing but lengths goes wrong, so that the mean may decide.
        self.is_even = chance.random() < 0.5

    def next(self, view: AuditView) -> tuple[Item | None, Entry | None]:
        """Return what comes next: an item, an entry that was read, or both."""
        item = self._other_item(view)
        if item is not None:
            return item, None
        tree = view.next_tree
        if tree is None or self.chance.random() < 0.1:
            tree = self.chance.choice(view.walk)
        entry = self._entry(view, tree)
        if entry.answers is None:
            return None, entry
        return {"kind": "tree", "body": {"tree": tree.id, "answers": entry.answers}}, entry

    def _other_item(self, view: AuditView) -> Item | None:
        """Return now and then something else than answers, and mostly the seal at the end."""
        chance, roll = self.chance, self.chance.random()
        if view.next_tree is None and roll < 0.6:
            outcomes = {str(each.stage): str(each.outcome) for each in view.standings}
            return {"kind": "seal", "body": {"outcomes": outcomes}}
        if roll < 0.05 and view.last_scored:
            return {"kind": "take_back", "body": {"tree": view.last_scored.id}}
        if roll < 0.07 and view.answered:
            return {"kind": "take_back", "body": {"tree": chance.choice([*view.answered])}}
        if roll < 0.09:
            return self._not_a_tree(view.next_tree or chance.choice(view.walk))
        if roll < 0.11:
            return self._nonsense(chance.choice(self.audit.lot.prepared.trees).id)
        return None

    def _not_a_tree(self, tree: DrawTree) -> Item:
        reserve = self.audit.reserve
        body = {
            "tree": tree.id,
            "kind": str(self.chance.choice([PlantingKind.DEAD, PlantingKind.REPLANT])),
            "instead": reserve[0].id if reserve else None,
        }
        return {"kind": "not_a_tree", "body": body}

    def _nonsense(self, tree_id: int) -> Item:
        """Return an item that the office would most often not take."""
        wrong = {"kind": "columns", "looked_at": 2, "single": 3, "faults": []}
        answers = {"missed": None, "stages": {str(self.audit.lot.book.draw.stages[-1]): wrong}}
        gone = {"tree": tree_id, "kind": "dead", "instead": 1}
        return self.chance.choice(
            [
                {"kind": "tree", "body": {"tree": tree_id, "answers": answers}},
                {"kind": "not_a_tree", "body": gone},
                {"kind": "not_a_tree", "body": gone | {"instead": self._reserve_tree()}},
                {"kind": "not_a_tree", "body": gone | {"kind": "bearing", "instead": None}},
                {"kind": "seal", "body": {"outcomes": {}}},
                {"kind": "take_back", "body": {"tree": tree_id}},
            ]
        )

    def _reserve_tree(self) -> int:
        reserve = [tree.id for tree in self.audit.lot.prepared.trees if tree.walk_order is None]
        return self.chance.choice(reserve or [1])

    def _entry(self, view: AuditView, tree: DrawTree) -> Entry:
        chance, book = self.chance, view.book
        decided = {each.stage for each in view.standings if each.outcome is not Outcome.OPEN}
        known = view.answers.get(tree.id)
        skippable = decided if book.standard.skip_decided else set()
        skippable -= set() if known is None else set(known.stages)
        form: MultiDict[str, str] = MultiDict()
        measures: dict[str, Any] = {}
        if self._errs(0.06):
            form[chance.choice(["missed", "missed", "kept_missed"])] = chance.choice([*Missed])
        for stage in book.draw.stages:
            if stage in skippable and chance.random() < 0.9:
                continue
            if chance.random() < 0.01:
                continue
            self._answer_stage(form, measures, stage)
        form[GAUGE] = "" if self.gauge is None else str(self.gauge)
        answers, problems = _read(book, form, skippable)
        named = sorted(skippable, key=_order)
        return Entry(tree.id, form, measures, [str(stage) for stage in named], answers, problems)

    def _answer_stage(
        self, form: MultiDict[str, str], measures: dict[str, Any], stage: Stage
    ) -> None:
        chance, standard = self.chance, self.audit.lot.standard
        only = is_only_measured(stage, standard)
        if only or (is_measurable(stage, standard) and chance.random() < 0.15):
            measure = self._measure(stage)
            measures[str(stage)] = measure.model_dump(mode="json")
            form.update(as_form(TreeAnswers(stages={stage: measure}), standard, ENGLISH))
            if only or chance.random() < 0.7:
                return
        form[stage] = self._tile(stage)
        if form[stage] == Tap.FAULT and chance.random() < 0.95:
            faults = chance.sample(STAGE_FAULTS[stage], chance.choice([1, 1, 1, 2]))
            form.setlist(f"{stage}_faults", [str(fault) for fault in faults])

    def _tile(self, stage: Stage) -> str:
        chance, standard = self.chance, self.audit.lot.standard
        if chance.random() < self.share_wrong:
            return Tap.FAULT
        if stage is not Stage.LIMBS:
            forbidden = standard.heading.rule is HeadingRule.FORBIDDEN and stage is Stage.HEADING
            return Tap.NOTHING_DUE if chance.random() < 0.2 and not forbidden else Tap.RIGHT
        limbs = standard.limbs
        if limbs.least and chance.random() < 0.2:
            return Tap.FEWER_NONE_LEFT
        form = as_form(
            TreeAnswers(
                stages={
                    Stage.LIMBS: ClassAnswer(
                        tap=Tap.RIGHT, removed=chance.randint(limbs.least, limbs.most)
                    )
                }
            ),
            standard,
            ENGLISH,
        )
        return form[Stage.LIMBS]

    def _measure(self, stage: Stage) -> Measure:
        chance, standard = self.chance, self.audit.lot.standard
        wrong = chance.random() < self.share_wrong
        match stage:
            case Stage.TOP:
                topped = not self._errs(0.05)
                asked = asks_for_side_branch(standard, self.audit.lot.prepared.crew_pass.method)
                return TopMeasure(
                    height_mm=self._height(),
                    topped=topped,
                    to_side_branch=self.is_even
                    or not (topped and asked and chance.random() < 0.02),
                    leader_young=not self.is_even and chance.random() < 0.01,
                )
            case Stage.LIMBS:
                return LimbsMeasure(
                    cut_mm=tuple(self._limb() for _ in range(chance.randint(0, 4))),
                    standing_mm=tuple(self._limb() for _ in range(chance.randint(0, 2))),
                    faults=self._some_of(_CUT_FAULTS, int(wrong)),
                )
            case Stage.COLUMNS:
                looked_at = chance.randint(0, standard.columns.branches + 2)
                single = chance.randint(0, looked_at) if wrong else looked_at
                if chance.random() < 0.02:
                    single += 1
                faults = self._some_of(STAGE_FAULTS[stage], chance.choice([0, 1, 2, 2]))
                return ColumnsMeasure(looked_at=looked_at, single=min(single, 12), faults=faults)
            case Stage.HEADING:
                return self._heading()

    def _errs(self, share: float) -> bool:
        return not self.is_even and self.chance.random() < share

    def _some_of(self, faults: Sequence[Fault], count: int) -> tuple[Fault, ...]:
        chosen = self.chance.sample(faults, count)
        return tuple(fault for fault in faults if fault in chosen)

    def _heading(self) -> HeadingMeasure:
        chance, rule = self.chance, self.audit.lot.standard.heading
        ends = rule.looked_at
        if not rule.by_mean and chance.random() < 0.4:
            ends = chance.randint(0, rule.looked_at)
        if chance.random() < 0.01:
            ends = rule.looked_at + 1
        left_long = int(ends > 0 and chance.random() < self.share_unread)
        middle = (rule.thinnest_mm + rule.thickest_mm) / 2
        spread = self.spread_mm / 100 + self.share_wrong
        step = chance.choice([0.1, 0.5]) if self.step_mm < 20 else _INCH_MM / 16
        return HeadingMeasure(
            diameters_mm=tuple(
                round(max(0.5, step * round(chance.gauss(middle, spread) / step)), 2)
                for _ in range(ends - left_long)
            ),
            left_long=left_long,
        )

    def _limb(self) -> float:
        standard = self.audit.lot.standard
        large, guard = standard.limbs.large_mm, standard.diameter_guard_mm
        near = [large + guard, large - guard, large + guard - 0.01, large - guard + 0.01]
        return round(self.chance.choice([*near, self.chance.uniform(5, 60)]), 2)

    def _height(self) -> float:
        chance = self.chance
        noise = chance.expovariate(1) if self.is_skewed else chance.gauss(0, 1)
        height = self.mean_mm + self.spread_mm * noise
        return round(max(100.0, self.step_mm * round(height / self.step_mm)), 2)


def lot_mean(chance: Random, standard: Standard) -> float:
    """Return about what height a crew tops at: at the target, near a limit, or beyond it."""
    return standard.top.target_mm + chance.choice([0, 0, 0.5, -0.5, 1, -1.2]) * (
        standard.top.tolerance_mm
    )


def _read(
    book: Scorebook, form: MultiDict[str, str], skippable: set[Stage]
) -> tuple[dict[str, Any] | None, Mapping[str, Message]]:
    """
    Read a form as the tree's page does, and score it.

    The page stops at answers that cannot be read before it scores the others; a phone says all at
    once. So each stage is read and scored by itself.
    """
    method, stages = book.crew_pass.method, book.draw.stages
    problems: dict[str, Message] = {}
    for stage in stages:
        try:
            _score(book, form, skippable, (stage,))
        except InvalidInput as error:
            problems.update(error.problems)
    if problems:
        return None, problems
    answers = read_entry(
        form, book.standard, Units.IMPERIAL, method=method, stages=stages, may_skip=skippable
    )
    return read_answers(answers).model_dump(mode="json"), {}


def _score(
    book: Scorebook, form: MultiDict[str, str], skippable: set[Stage], stages: tuple[Stage, ...]
) -> None:
    method = book.crew_pass.method
    answers = read_entry(
        form, book.standard, Units.IMPERIAL, method=method, stages=stages, may_skip=skippable
    )
    score_tree(book.standard, read_answers(answers), method=method, stages=stages)
