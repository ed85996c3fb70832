"""Workers and their seasons as the pages show them."""

from collections.abc import Iterable
from dataclasses import dataclass

from babel.dates import format_skeleton
from flask_babel import gettext

from audits.control.blocks import BlockChart
from audits.control.limits import Signal
from audits.estimates import LEAST_TREES_TO_COMPARE
from audits.messages import Message, Share
from audits.services.trends import SeenFault, SharedResults, StageTrend, WorkerLine
from audits.vocabulary import FAULT_NAMES, MENDABLE_FAULTS, SIDE_NAMES, STAGE_NAMES, Side, Stage
from webapp.extensions import farm
from webapp.reading import words
from webapp.season.charts import ChartView, chart_view, waiting_note


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


@dataclass(frozen=True)
class StageView:
    """A stage on a worker's page."""

    key: str
    name: str
    reading: Message
    signal: str
    beyond: str
    chart: ChartView | None
    chart_begins: str
    trees: list[FaultyTreeView]


@dataclass(frozen=True)
class LineView:
    """A worker in the list."""

    id: int
    name: str
    belongs: str
    due: str
    signal: str


def stage_views(stages: Iterable[StageTrend]) -> list[StageView]:
    """Return each stage with its reading, chart and last faults."""
    return [
        StageView(
            key=stage.stage,
            name=words().say(STAGE_NAMES[stage.stage]),
            reading=stage.reading.sentence,
            signal=_signal(stage),
            beyond=_beyond(stage),
            chart=_chart(stage),
            chart_begins="" if stage.chart else _chart_begins(),
            trees=[_faulty_tree(tree) for tree in stage.faults],
        )
        for stage in stages
    ]


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
            signal=_stages(line.signals),
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
    names = ", ".join(words().say(STAGE_NAMES[stage]) for stage in stages)
    return gettext("Signal: %(stages)s", stages=names) if names else ""


def _signal(trend: StageTrend) -> str:
    if not trend.has_signal:
        return ""
    return str(gettext("Signal: the latest 10 trees had more faults than chance explains."))


def _beyond(trend: StageTrend) -> str:
    if not trend.is_beyond_standard:
        return ""
    return str(
        gettext("More trees were wrong over the season than the standard accepts, beyond chance.")
    )


def _chart(trend: StageTrend) -> ChartView | None:
    if trend.chart is None or trend.chart.centre is None:
        return None
    reader = words()
    size = trend.chart.points[0].due
    centre = Share(trend.chart.centre)
    return chart_view(
        trend.chart,
        id_prefix=f"chart-{trend.stage}",
        title=gettext("Ten trees at a time"),
        upright=gettext("Trees with a fault, of %(size)s", size=size),
        centre=(
            gettext("the standard accepts %(share)s", share=reader.show(centre))
            if trend.beside_standard
            else gettext("own season so far")
        ),
        note=_reading_of(trend.chart),
        share=lambda fraction: reader.show(round(fraction * size, 1)),
    )


def _reading_of(chart: BlockChart) -> str:
    above = sum(point.signal is Signal.ABOVE for point in chart.points)
    latest_above = chart.points[-1].signal is Signal.ABOVE
    if not above:
        sentence = gettext("Every ten trees lie within what chance explains.")
    elif latest_above:
        sentence = gettext("The latest ten trees lie above what chance explains.")
    else:
        sentence = gettext("Earlier trees lay above what chance explains; the latest ten do not.")
    return " ".join(filter(None, (sentence, waiting_note(chart))))


def _chart_begins() -> str:
    return str(gettext("The chart begins with %(trees)s due trees.", trees=LEAST_TREES_TO_COMPARE))


def _faulty_tree(tree: SeenFault) -> FaultyTreeView:
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
