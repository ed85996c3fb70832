"""Workers and their seasons as the pages show them."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from babel.dates import format_skeleton
from flask_babel import gettext, ngettext

from audits.control.blocks import BlockChart
from audits.control.choice import ChartKind
from audits.control.limits import Signal
from audits.messages import Message, Share
from audits.services.contesting import WorkerContests, contested_sentence
from audits.services.trends import SeasonChance, SeenFault, SharedResults, StageTrend, WorkerLine
from audits.vocabulary import FAULT_NAMES, MENDABLE_FAULTS, SIDE_NAMES, STAGE_NAMES, Side, Stage
from webapp.extensions import farm
from webapp.reading import words
from webapp.season.charts import ChartView, chart_view, waiting_note
from webapp.workers.charts import gaps_view, heights_view, spreads_view, sum_view


@dataclass(frozen=True)
class FaultView:
    """A fault by its name, and whether another cut can mend it."""

    name: str
    mendable: bool
    meaning: str


@dataclass(frozen=True)
class FaultyTreeView:
    """A tree with its faults, and where it stands."""

    day: str
    place: str
    faults: list[FaultView]
    is_contested: bool


@dataclass(frozen=True)
class SignalView:
    """A signal: what to look at and do, and whether its block comes first."""

    key: str
    stage: str
    sentence: Message
    count: str
    block_first: Message | None


@dataclass(frozen=True)
class StageView:
    """A stage on a worker's or crew's page."""

    key: str
    name: str
    reading: Message
    contested: Message | None
    signal: SignalView | None
    beyond: str
    directions: str
    measured: Message | None
    fit: Message | None
    charts: list[ChartView]
    more_charts: list[ChartView]
    reason: Message
    promise: str
    trees: list[FaultyTreeView]
    hides_trees: bool


@dataclass(frozen=True)
class LineView:
    """A worker in the list."""

    id: int
    name: str
    belongs: str
    due: str
    signal: str
    block_first: str


# What counts for the crew is nobody's to contest.
_NOTHING_CONTESTED: Final = WorkerContests(frozenset(), {})


def stage_views(
    stages: Iterable[StageTrend], contests: WorkerContests = _NOTHING_CONTESTED
) -> list[StageView]:
    """Return each stage with its reading, signal, charts and last faults."""
    return [_stage_view(stage, contests) for stage in stages]


def _stage_view(trend: StageTrend, contests: WorkerContests) -> StageView:
    measures = trend.measures
    charts = _charts(trend)
    # A signal is in sight on the chart that gives it.
    in_sight = 2 if trend.signal is not None else 1
    return StageView(
        key=trend.stage,
        name=words().say(STAGE_NAMES[trend.stage]),
        reading=trend.reading.sentence,
        contested=contested_sentence(contests.due.get(trend.stage, 0)),
        signal=_signal(trend),
        beyond=_beyond(trend),
        directions=_directions(trend),
        measured=measures.sentence if measures else None,
        fit=measures.fit if measures else None,
        charts=charts[:in_sight],
        more_charts=charts[in_sight:],
        reason=trend.charts.choice.reason,
        promise=_promise(trend),
        trees=[_faulty_tree(trend.stage, tree, contests) for tree in trend.faults],
        hides_trees=trend.hides_faults,
    )


def signals_of(stages: Iterable[StageView]) -> list[SignalView]:
    """Return the signals of a page, from the top of the tree down."""
    return [stage.signal for stage in stages if stage.signal is not None]


def chance_words(chance: SeasonChance) -> str:
    """Say how many false signals chance alone brings in a season."""
    return str(
        gettext(
            "A signal can be false: of 100 people whose work stays as good as the standard asks, "
            "at most %(each)s get one in a season of up to %(trees)s due trees a stage, over all "
            "stages together. With %(people)s people, that is at most %(expected)s in a season.",
            each=words().show(round(100 * chance.each)),
            trees=words().show(chance.trees),
            people=words().show(chance.people),
            expected=words().show(round(chance.expected, 1)),
        )
    )


def own_chance_words(chance: SeasonChance) -> str:
    """Say the same of one person alone."""
    return str(
        gettext(
            "A signal can be false: of 100 people whose work stays as good as the standard asks, "
            "at most %(each)s get one in a season of up to %(trees)s due trees a stage, over all "
            "stages together.",
            each=words().show(round(100 * chance.each)),
            trees=words().show(chance.trees),
        )
    )


def shared_lines(shared: SharedResults) -> list[tuple[str, str]]:
    """Return the crew's readings, stage by stage."""
    return [
        (words().say(STAGE_NAMES[stage]), words().say(reading.sentence))
        for stage, reading in shared.readings.items()
    ]


def line_views(lines: Iterable[WorkerLine]) -> list[LineView]:
    """Return the workers as the list shows them, in the order given."""
    return [
        LineView(
            id=line.worker.id,
            name=line.worker.name or line.worker.code,
            belongs=", ".join(filter(None, (line.worker.code, line.crew))),
            due=_due(line),
            signal=_stages(line.own_signals),
            block_first=(
                gettext("Block first: %(stages)s", stages=_names(line.block_first))
                if line.block_first
                else ""
            ),
        )
        for line in lines
    ]


def _due(line: WorkerLine) -> str:
    reader = words()
    # A count must not stand on another line than its stage.
    counts = [
        f"{reader.say(STAGE_NAMES[stage])}\u00a0{reader.show(due)}"
        for stage, due in line.due.items()
    ]
    if not counts:
        return str(gettext("No tree was due yet."))
    return str(gettext("Due trees: %(counts)s", counts=", ".join(counts)))


def _stages(stages: Iterable[Stage]) -> str:
    names = _names(stages)
    return gettext("Signal: %(stages)s", stages=names) if names else ""


def _names(stages: Iterable[Stage]) -> str:
    return ", ".join(words().say(STAGE_NAMES[stage]) for stage in stages)


def _signal(trend: StageTrend) -> SignalView | None:
    signal = trend.signal
    if signal is None:
        return None
    return SignalView(
        key=trend.stage,
        stage=words().say(STAGE_NAMES[trend.stage]),
        sentence=signal.sentence,
        count=gettext(
            "%(wrong)s of %(due)s due trees wrong since then.",
            wrong=words().show(signal.nonconforming),
            due=words().show(signal.due),
        ),
        block_first=trend.block_first,
    )


def _directions(trend: StageTrend) -> str:
    """Count the named faults, the most frequent first: which way the work goes wrong."""
    reader = words()
    counts = sorted(trend.directions.items(), key=lambda item: -item[1])
    if not counts:
        return ""
    names = ", ".join(
        gettext(
            "%(fault)s %(count)s",
            fault=reader.say(FAULT_NAMES[fault]).lower(),
            count=reader.show(count),
        ).replace(" ", "\u00a0")
        for fault, count in counts
    )
    return str(
        gettext(
            "What was wrong, in %(due)s due trees: %(faults)s.",
            due=reader.show(trend.reading.due),
            faults=names,
        )
    )


def _promise(trend: StageTrend) -> str:
    promise, audits = trend.promise, trend.audits_to_find_worse
    if promise is None or promise.median_trees is None or audits is None:
        return ""
    sentences = [
        ngettext(
            "If faults came twice as often, this would show within %(trees)s due trees in half of "
            "the cases, about %(num)s audit like these.",
            "If faults came twice as often, this would show within %(trees)s due trees in half of "
            "the cases, about %(num)s audits like these.",
            audits,
            trees=words().show(promise.median_trees),
        )
    ]
    if trend.reading.due > promise.trees:
        sentences.append(
            gettext(
                "The limits are set for %(trees)s due trees; this season has %(due)s, so a false "
                "signal is a little likelier.",
                trees=words().show(promise.trees),
                due=words().show(trend.reading.due),
            )
        )
    return " ".join(sentences)


def _beyond(trend: StageTrend) -> str:
    if not trend.is_beyond_standard:
        return ""
    return str(
        gettext("More trees were wrong over the season than the standard accepts, beyond chance.")
    )


def _charts(trend: StageTrend) -> list[ChartView]:
    """Return the charts of a stage, the one that fits first."""
    charts = trend.charts
    if charts.blocks is None or charts.blocks.centre is None or charts.total is None:
        return []
    blocks = _block_chart(trend, charts.blocks)
    total = sum_view(charts.total, f"sum-{trend.stage}")
    others = [total, blocks]
    if trend.signal is not None and trend.signal.by is ChartKind.BLOCKS:
        others = [blocks, total]
    if charts.choice.kind is ChartKind.HEIGHTS and charts.heights is not None:
        return [
            heights_view(charts.heights, f"heights-{trend.stage}"),
            *others,
            spreads_view(charts.heights, f"spreads-{trend.stage}"),
        ]
    if charts.gaps is not None:
        return [gaps_view(charts.gaps, f"gaps-{trend.stage}"), *others]
    return [blocks, total]


def _block_chart(trend: StageTrend, blocks: BlockChart) -> ChartView:
    reader = words()
    size = blocks.points[0].due
    centre = Share(blocks.centre or 0.0)
    return chart_view(
        blocks,
        id_prefix=f"chart-{trend.stage}",
        title=gettext("Ten trees at a time"),
        upright=gettext("Trees with a fault, of %(size)s", size=size),
        centre=(
            gettext("the standard accepts %(share)s", share=reader.show(centre))
            if trend.beside_standard
            else gettext("own season so far")
        ),
        note=_reading_of(
            blocks, sum_signals=bool(trend.charts.total and trend.charts.total.has_signal)
        ),
        share=lambda fraction: reader.show(round(fraction * size, 1)),
        smoothed=True,
    )


def _reading_of(chart: BlockChart, *, sum_signals: bool) -> str:
    above = sum(point.signal is Signal.ABOVE for point in chart.points)
    latest_above = chart.points[-1].signal is Signal.ABOVE
    if not above and sum_signals:
        sentence = gettext(
            "Every ten trees by themselves lie within what chance explains, but not all of them "
            "together: see tree by tree."
        )
    elif not above:
        sentence = gettext("Every ten trees lie within what chance explains.")
    elif latest_above:
        sentence = gettext("The latest ten trees lie above what chance explains.")
    else:
        sentence = gettext("Earlier trees lay above what chance explains; the latest ten do not.")
    return " ".join(filter(None, (sentence, waiting_note(chart))))


def _faulty_tree(stage: Stage, tree: SeenFault, contests: WorkerContests) -> FaultyTreeView:
    reader = words()
    place = gettext(
        "%(block)s, %(row)s, tree %(tree)s",
        block=_block(tree.block),
        row=_row(tree.row_number),
        tree=tree.position,
    )
    if tree.side is not Side.BOTH:
        place = f"{place}, {reader.say(SIDE_NAMES[tree.side])}"
    return FaultyTreeView(
        day=format_skeleton("MMMMd", tree.scored_on, locale=reader.locale),
        place=place,
        faults=[
            FaultView(
                name=reader.say(FAULT_NAMES[fault]),
                mendable=fault in MENDABLE_FAULTS,
                meaning=_meaning(mendable=fault in MENDABLE_FAULTS),
            )
            for fault in tree.faults
        ],
        is_contested=(tree.audit_id, tree.draw_tree_id, stage) in contests.scores,
    )


def _block(name: str) -> str:
    """Say that a name is a block's, unless it says so itself."""
    kind: str = gettext("block")
    return name if kind.casefold() in name.casefold() else f"{kind} {name}"


def _row(number: int) -> str:
    # The farm's own word is one of the crew's Spanish: hilera here, surco there.
    if farm().row_word and words().language == "es":
        return f"{farm().row_word} {number}"
    return str(gettext("row %(number)s", number=number))


def _meaning(*, mendable: bool) -> str:
    return str(gettext("another cut mends it") if mendable else gettext("cannot be mended"))
