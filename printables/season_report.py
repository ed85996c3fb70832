"""The season report for the owner: lots, verdicts, rates by stage and crew, charts and method."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Final

from audits.control.blocks import BlockChart
from audits.control.limits import FALSE_ALARM, Signal
from audits.estimates import (
    LEAST_AUDITORS_TO_COMPARE,
    LEAST_DAYS_TO_COMPARE,
    LEAST_ROWS_TO_COMPARE,
    LEAST_TREES_FOR_A_RANGE,
    LEAST_TREES_TO_COMPARE,
)
from audits.messages import Message, Share, Words, say, say_n
from audits.vocabulary import FAULT_NAMES, STAGE_NAMES, Fault, Stage
from printables.document import Document, Piece, Role
from printables.drawing.chart import ChartLabels, ChartPoint, block_chart_drawing
from printables.drawing.inks import Ink
from printables.drawing.pictograms import SIZE_MM as PICTOGRAM_MM
from printables.drawing.pictograms import stage_pictogram
from printables.drawing.primitives import Drawing, Line, Shape
from printables.flow import Block, Part, content_height, content_width, paged, room_left, under
from printables.fonts import require_letters
from printables.paragraphs import Run, paragraph, stacked
from printables.sheet import Page
from printables.sheet_frame import (
    HEADING_PT,
    SMALL_PT,
    TEXT_PT,
    section_heading,
    sheet_foot,
    sheet_head,
)
from printables.table import Column, Table, table_pieces

_GAP_MM: Final = 4.0
_TABLE_PT: Final = 10.0
_FIGURE_PT: Final = 22.0
_CHART_HEIGHT_MM: Final = 62.0
_PICTOGRAM_MM: Final = 11.0
_MOST_DRAWN: Final = 24


@dataclass(frozen=True)
class ReportLots:
    """
    How the lots of a block or a crew stand.

    Parameters
    ----------
    name : str
        The block or crew.
    figures : tuple of int or None
        Lots, accepted at the first audit, accepted after rework, in rework, closed without being
        mended, not audited yet, not chosen; None where figures are held back.
    reading : Message
        What may be said of them, or why nothing may.
    """

    name: str
    figures: tuple[int, int, int, int, int, int, int] | None
    reading: Message


@dataclass(frozen=True)
class ReportStage:
    """
    A stage over the season.

    Parameters
    ----------
    stage : Stage
        The stage.
    audited, accepted : int
        First audits, and those that accepted it.
    reworked : int
        Lots in which it went back to be mended.
    leading_fault : Fault or None
        The fault that led most often where it was not accepted.
    acceptance : Message
        What may be said of the share accepted.
    due : int
        Due trees of first audits.
    rate : Message
        What may be said of the trees' rate, with their number and its range.
    chart : BlockChart or None
        Blocks of due trees in scoring order; None below the floor.
    """

    stage: Stage
    audited: int
    accepted: int
    reworked: int
    leading_fault: Fault | None
    acceptance: Message
    due: int
    rate: Message
    chart: BlockChart | None


@dataclass(frozen=True)
class ReportCrew:
    """
    The rates of a crew.

    Parameters
    ----------
    name : str
        The crew.
    rates : tuple of tuple of Stage and Message or None
        What may be said of each stage; None for a crew whose figures are held back.
    """

    name: str
    rates: tuple[tuple[Stage, Message], ...] | None


@dataclass(frozen=True)
class ReportHours:
    """
    What a kind of pass cost in hours.

    Parameters
    ----------
    hours : float
        Hours noted.
    passes : int
        Passes.
    without_hours : int
        Passes for which none were noted.
    """

    hours: float
    passes: int
    without_hours: int


@dataclass(frozen=True)
class SeasonReport:
    """
    A season's report, ready to be printed.

    Parameters
    ----------
    farm, season : str
        The farm's name, and the season as people call it.
    first_day, last_day : date
        The season's ends.
    issued_on : date
        The day of the report.
    lots : ReportLots
        All lots; never held back.
    trees : int
        Trees scored in first audits.
    pruning, rework : ReportHours
        Hours of pruning and of rework.
    blocks, crews : tuple of ReportLots
        By name.
    stages : tuple of ReportStage
        Stages with results, from the top of the tree down.
    crew_rates : tuple of ReportCrew
        Rates by crew, by name.
    least_people : int
        People that a crew needs before its figures are shown.
    contested : int, optional
        Scores in these figures that a worker disagrees with, not answered yet.
    read_otherwise : int, optional
        First verdicts that amendments would have turned round.

    Raises
    ------
    InvalidInput
        If a name has letters that the printed font lacks.
    ValueError
        If the figures of all lots are held back.
    """

    farm: str
    season: str
    first_day: date
    last_day: date
    issued_on: date
    lots: ReportLots
    trees: int
    pruning: ReportHours
    rework: ReportHours
    blocks: tuple[ReportLots, ...]
    crews: tuple[ReportLots, ...]
    stages: tuple[ReportStage, ...]
    crew_rates: tuple[ReportCrew, ...]
    least_people: int
    contested: int = 0
    read_otherwise: int = 0

    def __post_init__(self) -> None:
        if self.lots.figures is None:
            raise ValueError("lots: the farm's own figures are never held back")
        require_letters(
            {
                "farm": self.farm,
                "block": " ".join(line.name for line in self.blocks),
                "crew": " ".join(
                    [*(line.name for line in self.crews), *(line.name for line in self.crew_rates)]
                ),
            }
        )


def season_report(report: SeasonReport, words: Words, *, page: Page = Page.LETTER) -> Document:
    """
    Print a season's report.

    Parameters
    ----------
    report : SeasonReport
        What it says.
    words : Words
        The reader's language.
    page : Page, optional
        The paper.

    Returns
    -------
    Document
        Its pages; the same for the same input.
    """
    title = words.say(say("Season report %(season)s", season=report.season))
    foot = (title, report.farm)
    width = content_width(page)
    return paged(
        report_parts(report, words, page),
        lambda number, count: sheet_foot(foot, words, width, (number, count)),
        page=page,
        title=title,
        author=report.farm,
        language=words.language,
        gap_mm=_GAP_MM,
    )


def report_parts(report: SeasonReport, words: Words, page: Page) -> list[list[Part]]:
    """
    Set what stands in a season's report.

    Parameters
    ----------
    report : SeasonReport
        What it says.
    words : Words
        The reader's language.
    page : Page
        The paper.

    Returns
    -------
    list of list of Drawing or Block
        The parts of each chapter, which begins on a new page.
    """
    width = content_width(page)
    first: list[Part] = [
        _head(report, words, width),
        _key_figures(report, words, width),
        *_sentences(report, words, width),
    ]
    for heading, lines in (
        (say("Lots by block"), report.blocks),
        (say("Lots by crew"), report.crews),
    ):
        if lines:
            _add_table(first, heading, _lot_table(heading, lines, words), words, page)
    rest: list[Part] = []
    if report.stages:
        rest += _stage_charts(report, words, width)
        heading = say("First audits by stage")
        _add_table(rest, heading, _stage_table(heading, report.stages, words), words, page)
    if report.crew_rates and report.stages:
        heading = say("Rates by crew")
        _add_table(rest, heading, _rate_table(heading, report, words), words, page)
    return [first, [*rest, *_method(report, words, width)]]


def _head(report: SeasonReport, words: Words, width_mm: float) -> Block:
    title = words.say(say("Season report %(season)s", season=report.season))
    days = say("%(first)s to %(last)s", first=report.first_day, last=report.last_day)
    as_of = say("As of %(day)s.", day=report.issued_on)
    below = [Run(f"{report.farm}."), Run(f"{words.say(days)}."), Run(words.say(as_of))]
    return sheet_head(title, [below], width_mm)


def _add_table(parts: list[Part], heading: Message, table: Table, words: Words, page: Page) -> None:
    """Add a table below its heading, beginning on the page that the parts before it have begun."""
    width, room = content_width(page), content_height(page)
    head = section_heading(words.say(heading), width)
    above = head.height_mm + _UNDER_MM
    first, *others = table_pieces(
        table, width, room_left(parts, page, _GAP_MM) - above, room - above
    )
    parts.append(under(head, first, _UNDER_MM))
    parts += others


_UNDER_MM: Final = 1.0


def _key_figures(report: SeasonReport, words: Words, width_mm: float) -> Drawing:
    figures = report.lots.figures or (0,) * 7
    lots, accepted, *_, not_audited, not_chosen = figures
    audited = lots - not_audited - not_chosen
    hours = say("hours of pruning"), say("hours of rework")
    cells = [
        (words.show(lots), say_n("finished lot", "finished lots", lots), _not_audited(figures)),
        (
            words.show(accepted),
            say("accepted at the first audit"),
            say_n("of %(count)s audited lot", "of %(count)s audited lots", audited),
        ),
        (
            words.show(report.trees),
            say_n("tree audited", "trees audited", report.trees),
            say("in first audits"),
        ),
        (_hours(report.pruning, words), hours[0], _passes(report.pruning)),
        (_hours(report.rework, words), hours[1], _passes(report.rework)),
    ]
    gap = 4.0
    column = (width_mm - gap * (len(cells) - 1)) / len(cells)
    drawn = [
        stacked(
            [
                paragraph([Run(figure, bold=True)], column, _FIGURE_PT),
                paragraph([Run(words.say(label), bold=True)], column, _TABLE_PT),
                paragraph([Run(words.say(note))], column, _TABLE_PT),
            ],
            column,
            0.6,
        )
        for figure, label, note in cells
    ]
    height = max(each.height_mm for each in drawn) + 3.0
    shapes: list[Shape] = [Line((0.0, 0.2), (width_mm, 0.2), Ink.LINE)]
    shapes += [each.at(place * (column + gap), 2.0) for place, each in enumerate(drawn)]
    told = " ".join(each.title for each in drawn)
    return Drawing(width_mm, height, tuple(shapes), told)


def _not_audited(figures: Sequence[int]) -> Message:
    *_, not_audited, not_chosen = figures
    if not_chosen:
        return say(
            "%(waiting)s not audited yet, %(others)s not chosen",
            waiting=not_audited,
            others=not_chosen,
        )
    return say("%(number)s not audited yet", number=not_audited)


def _hours(hours: ReportHours, words: Words) -> str:
    unknown = hours.passes > 0 and hours.passes == hours.without_hours
    return "-" if unknown else words.show(round(hours.hours, 1))


def _passes(hours: ReportHours) -> Message:
    counted = say_n("%(count)s pass", "%(count)s passes", hours.passes)
    if not hours.without_hours:
        return counted
    return say("%(passes)s, %(number)s without hours", passes=counted, number=hours.without_hours)


def _sentences(report: SeasonReport, words: Words, width_mm: float) -> list[Part]:
    said = [report.lots.reading]
    together = report.pruning.hours + report.rework.hours
    if report.rework.hours:
        said.append(
            say(
                "Of %(together)s hours noted, %(rework)s went into rework (%(share)s).",
                together=round(together, 1),
                rework=round(report.rework.hours, 1),
                share=Share(report.rework.hours / together),
            )
        )
    if report.read_otherwise:
        said.append(
            say_n(
                "%(count)s first verdict reads otherwise as amended; it is counted as it was "
                "issued.",
                "%(count)s first verdicts read otherwise as amended; they are counted as they "
                "were issued.",
                report.read_otherwise,
            )
        )
    if report.contested:
        said.append(
            say_n(
                "%(count)s score in these figures is contested.",
                "%(count)s scores in these figures are contested.",
                report.contested,
            )
        )
    return [stacked([_said(each, words, width_mm) for each in said], width_mm, 1.4)]


def _said(message: Message, words: Words, width_mm: float) -> Drawing:
    return paragraph([Run(words.say(message))], width_mm, TEXT_PT)


def _lot_table(heading: Message, lines: Sequence[ReportLots], words: Words) -> Table:
    heads = (
        say("Lots"),
        say("Accepted at the first audit"),
        say("Accepted after rework"),
        say("In rework"),
        say("Closed, not mended"),
        say("Not audited yet"),
        say("Not chosen"),
    )
    return Table(
        words.say(heading),
        (
            Column(words.say(say("Name")), 2.2, bold=True),
            *(Column(words.say(head), 1.0, numeric=True) for head in heads),
        ),
        [(line.name, *_shown(line.figures, words)) for line in lines],
        SMALL_PT,
        gap_mm=2.5,
        below=[words.say(line.reading) for line in lines],
    )


def _shown(figures: Sequence[int] | None, words: Words) -> list[str]:
    """Return figures as they are read; a dash stands where they are held back."""
    return ["-"] * 7 if figures is None else [words.show(figure) for figure in figures]


def _stage_charts(report: SeasonReport, words: Words, width_mm: float) -> list[Part]:
    """Set the rate and the chart of each stage, two side by side."""
    gap = 6.0
    half = (width_mm - gap) / 2
    parts: list[Part] = []
    for place in range(0, len(report.stages), 2):
        cells = [_stage_cell(each, words, half) for each in report.stages[place : place + 2]]
        pieces = tuple(
            replace(piece, x_mm=piece.x_mm + number * (half + gap))
            for number, cell in enumerate(cells)
            for piece in cell.pieces
        )
        parts.append(Block(pieces, max(cell.height_mm for cell in cells)))
    heading = section_heading(words.say(say("Stages, the whole farm")), width_mm)
    return [heading, *parts]


def _stage_table(heading: Message, stages: Sequence[ReportStage], words: Words) -> Table:
    heads = (
        (say("Stage"), 1.2),
        (say("First audits"), 0.8),
        (say("Accepted at the first audit"), 1.1),
        (say("Sent back to mend"), 1.0),
        (say("Leading fault where not accepted"), 2.0),
    )
    return Table(
        words.say(heading),
        tuple(
            Column(words.say(head), share, numeric=0 < place < len(heads) - 1, bold=place == 0)
            for place, (head, share) in enumerate(heads)
        ),
        [
            (
                words.say(STAGE_NAMES[each.stage]),
                words.show(each.audited),
                words.show(each.accepted),
                words.show(each.reworked),
                words.say(FAULT_NAMES[each.leading_fault]) if each.leading_fault else "-",
            )
            for each in stages
        ],
        _TABLE_PT,
        below=[words.say(each.acceptance) for each in stages],
    )


def _stage_cell(each: ReportStage, words: Words, width_mm: float) -> Block:
    """Set a stage's rate in words above its chart."""
    name = words.say(STAGE_NAMES[each.stage])
    left = _PICTOGRAM_MM + 3.0
    rate = stacked(
        [
            paragraph([Run(name, bold=True)], width_mm - left, HEADING_PT),
            _said(each.rate, words, width_mm - left),
        ],
        width_mm - left,
        0.6,
    )
    height = max(rate.height_mm, _PICTOGRAM_MM)
    picture = stage_pictogram(each.stage, name)
    scale = _PICTOGRAM_MM / PICTOGRAM_MM
    head = Drawing(
        width_mm, height, (picture.at(0.0, 0.3, scale), rate.at(left, 0.0)), f"{name}. {rate.title}"
    )
    pieces = [Piece(head, 0.0, 0.0, Role.TEXT)]
    height += 2.0
    if each.chart is None or each.chart.centre is None:
        begins = say("The chart begins with %(trees)s due trees.", trees=LEAST_TREES_TO_COMPARE)
        told = _said(begins, words, width_mm)
    else:
        drawn, told = _chart(each.stage, each.chart, each.chart.centre, words, width_mm)
        pieces.append(Piece(drawn, 0.0, height, Role.FIGURE))
        height += drawn.height_mm + 1.0
    pieces.append(Piece(told, 0.0, height, Role.TEXT))
    return Block(tuple(pieces), height + told.height_mm)


def _chart(
    stage: Stage, chart: BlockChart, centre: float, words: Words, width_mm: float
) -> tuple[Drawing, Drawing]:
    """Draw the latest blocks of a chart, and say how to read it."""
    size = chart.points[0].due
    drawn = chart.points[-_MOST_DRAWN:]
    said = _reading_of(chart)
    if len(drawn) < len(chart.points):
        said.append(say("The chart shows the latest %(trees)s trees.", trees=len(drawn) * size))
    told = paragraph([Run(words.say(each)) for each in said], width_mm, _TABLE_PT)
    labels = ChartLabels(
        title=words.say(STAGE_NAMES[stage]),
        description=told.title,
        upright=words.say(say("Trees with a fault")),
        across=words.say(say("Due trees in the order of scoring")),
        block=words.say(say_n("%(count)s due tree", "%(count)s due trees", size)),
        centre=words.say(say("the season: %(share)s", share=Share(centre))),
        limits=words.say(say("what chance explains")),
        share=lambda fraction: words.show(Share(fraction)),
    )
    points = [
        ChartPoint(
            f"{words.show(point.first)}-{words.show(point.last)}",
            point.fraction,
            point.lower,
            point.upper,
            words.say(say("signal")) if point.signal is Signal.ABOVE else "",
        )
        for point in drawn
    ]
    return block_chart_drawing(points, centre, labels, (width_mm, _CHART_HEIGHT_MM)), told


def _reading_of(chart: BlockChart) -> list[Message]:
    above = sum(point.signal is Signal.ABOVE for point in chart.points)
    below = sum(point.signal is Signal.BELOW for point in chart.points)
    said = []
    if above:
        said.append(
            say_n(
                "%(count)s point has more faults than chance explains.",
                "%(count)s points have more faults than chance explains.",
                above,
            )
        )
    if below:
        said.append(
            say_n(
                "%(count)s point has fewer faults than chance explains.",
                "%(count)s points have fewer faults than chance explains.",
                below,
            )
        )
    if not said:
        said.append(say("Every point lies within what chance explains."))
    if chart.waiting is not None:
        said.append(
            say_n(
                "%(count)s more due tree waits for the next point.",
                "%(count)s more due trees wait for the next point.",
                chart.waiting.due,
            )
        )
    return said


def _rate_table(heading: Message, report: SeasonReport, words: Words) -> Table:
    held_back = words.say(
        say("Fewer than %(people)s people: no figures are shown.", people=report.least_people)
    )
    rows: list[tuple[str, str, str]] = []
    for crew in report.crew_rates:
        if crew.rates is None:
            rows.append((crew.name, "", held_back))
            continue
        for stage, rate in crew.rates:
            rows.append((crew.name, words.say(STAGE_NAMES[stage]), words.say(rate)))
    heads = ((say("Crew"), 1.2), (say("Stage"), 0.9), (say("Reading"), 3.4))
    columns = tuple(Column(words.say(head), share) for head, share in heads)
    return Table(
        words.say(heading),
        (replace(columns[0], bold=True), *columns[1:]),
        rows,
        _TABLE_PT,
    )


def _method(report: SeasonReport, words: Words, width_mm: float) -> list[Part]:
    """Say how the figures came about, and on how many trees they rest."""
    heading = section_heading(words.say(say("How this was counted")), width_mm)
    notes = [_said(note, words, width_mm) for note in _notes(report.least_people)]
    parts: list[Part] = [under(heading, stacked(notes, width_mm, 1.8), _UNDER_MM)]
    if report.stages:
        sizes = section_heading(words.say(say("How many trees it rests on")), width_mm)
        (table,) = table_pieces(_size_table(report.stages, words), width_mm, _ANY, _ANY)
        parts.append(under(sizes, table, _UNDER_MM))
    return parts


# Four stages always fit.
_ANY: Final = 1_000.0


def _notes(least_people: int) -> list[Message]:
    return [
        say("The trees of an audit are drawn by chance behind the crew. Nobody chooses them."),
        say(
            "Only first audits count here, people's and the crews' together. Re-audits and start "
            "checks are left out."
        ),
        say(
            "A rate is all trees with a fault over all due trees. Trees on which nothing was due "
            "are in no rate."
        ),
        say(
            'Behind "could be" stands the range of true rates that the sample allows (after '
            "Wilson: 95 of 100 such ranges hold the true rate). Trees of one row are alike, so it "
            "may be wider still."
        ),
        say(
            "Below %(counts)s trees or lots only counts are shown, below %(ranges)s only a range. "
            "A rate needs %(ranges)s trees of at least %(days)s days, %(rows)s rows and "
            "%(auditors)s auditors.",
            counts=LEAST_TREES_FOR_A_RANGE,
            ranges=LEAST_TREES_TO_COMPARE,
            days=LEAST_DAYS_TO_COMPARE,
            rows=LEAST_ROWS_TO_COMPARE,
            auditors=LEAST_AUDITORS_TO_COMPARE,
        ),
        say(
            "Each point of a chart is the same number of due trees, in the order of scoring. "
            "Chance alone puts at most %(points)s of 10,000 points outside its limits.",
            points=round(10_000 * FALSE_ALARM),
        ),
        say(
            "A crew of fewer than %(people)s people shows no figures. No person is named here.",
            people=least_people,
        ),
        say(
            "Blocks and crews stand by name, never by result. Where two ranges overlap, chance may "
            "explain the difference."
        ),
        say("No wages are kept here."),
    ]


def _size_table(stages: Sequence[ReportStage], words: Words) -> Table:
    heads = (
        say("Stage"),
        say("First audits"),
        say("Due trees"),
        say("Trees of a chart point"),
        say("Points"),
    )
    return Table(
        words.say(say("How many trees it rests on")),
        tuple(
            Column(words.say(head), 1.0, numeric=place > 0, bold=place == 0)
            for place, head in enumerate(heads)
        ),
        [
            (
                words.say(STAGE_NAMES[each.stage]),
                words.show(each.audited),
                words.show(each.due),
                words.show(each.chart.points[0].due) if each.chart and each.chart.points else "-",
                words.show(len(each.chart.points)) if each.chart else "-",
            )
            for each in stages
        ],
        _TABLE_PT,
    )
