"""The season's review as its page shows it."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from flask_babel import gettext, ngettext

from audits.control.blocks import BlockChart
from audits.control.limits import Signal
from audits.estimates import LEAST_TREES_TO_COMPARE
from audits.messages import Share
from audits.services.season import Effort, GroupLine, LotSums, SeasonReview, StageLine
from audits.services.trends import LEAST_PEOPLE_OF_A_CREW
from audits.vocabulary import FAULT_NAMES, STAGE_NAMES
from webapp.reading import words
from webapp.season.charts import ChartView, as_percentage, chart_view, waiting_note


@dataclass(frozen=True)
class TableView:
    """What the macro of a table takes."""

    title: str
    columns: list[str | tuple[str, str]]
    rows: list[list[str | None]]


@dataclass(frozen=True)
class StageView:
    """A stage of the season."""

    name: str
    rate: str
    chart: ChartView | None
    chart_begins: str


def key_figures(review: SeasonReview) -> list[tuple[str, str, str]]:
    """Return the few figures that the owner came for."""
    show = words().show
    lots, effort = review.lots, review.effort
    return [
        (
            show(lots.lots),
            ngettext("finished lot", "finished lots", lots.lots),
            _not_audited(lots),
        ),
        (
            show(lots.first_accepted),
            gettext("accepted at the first audit"),
            ngettext("of %(num)s audited lot", "of %(num)s audited lots", lots.acceptance.audited),
        ),
        (
            show(review.trees_audited),
            ngettext("tree audited", "trees audited", review.trees_audited),
            gettext("in first audits"),
        ),
        (
            _hours(effort.hours, effort.passes, effort.passes_without_hours),
            gettext("hours of pruning"),
            _passes(effort.passes, effort.passes_without_hours),
        ),
        (
            _hours(effort.rework_hours, effort.rework_passes, effort.rework_without_hours),
            gettext("hours of rework"),
            _passes(effort.rework_passes, effort.rework_without_hours),
        ),
    ]


def _not_audited(lots: LotSums) -> str:
    note = str(gettext("%(number)s not audited yet", number=words().show(lots.not_audited)))
    if lots.not_chosen:
        passed_over = gettext("%(number)s not chosen", number=words().show(lots.not_chosen))
        note = f"{note}, {passed_over}"
    return note


def block_table(review: SeasonReview) -> TableView:
    """Return the lots by block."""
    return _lot_table(gettext("Lots by block"), gettext("Block"), review.blocks)


def crew_table(review: SeasonReview) -> TableView:
    """Return the lots by crew."""
    return _lot_table(gettext("Lots by crew"), gettext("Crew"), review.crews)


def stage_table(stages: Iterable[StageLine]) -> TableView:
    """Return the first verdicts by stage."""
    reader = words()
    return TableView(
        title=gettext("First audits by stage"),
        columns=[
            gettext("Stage"),
            (gettext("First audits"), "numeric"),
            (gettext("Accepted at the first audit"), "numeric"),
            (gettext("Sent back to mend"), "numeric"),
            gettext("Leading fault where not accepted"),
            gettext("Reading"),
        ],
        rows=[
            [
                reader.say(STAGE_NAMES[line.stage]),
                reader.show(line.acceptance.audited),
                reader.show(line.acceptance.accepted),
                reader.show(line.reworked),
                reader.say(FAULT_NAMES[line.leading_fault]) if line.leading_fault else None,
                reader.say(line.acceptance.sentence),
            ]
            for line in stages
        ],
    )


def stage_views(stages: Iterable[StageLine]) -> list[StageView]:
    """Return the rate and the chart of each stage."""
    reader = words()
    begins = gettext("The chart begins with %(trees)s due trees.", trees=LEAST_TREES_TO_COMPARE)
    return [
        StageView(
            name=reader.say(STAGE_NAMES[line.stage]),
            rate=reader.say(line.rate.sentence),
            chart=_chart(line),
            chart_begins="" if line.chart else begins,
        )
        for line in stages
    ]


def amended_note(lots: LotSums) -> str:
    """Say how many verdicts amendments would have turned round."""
    if not lots.read_otherwise:
        return ""
    note: str = ngettext(
        "%(num)s first verdict reads otherwise as amended; it is counted as it was issued.",
        "%(num)s first verdicts read otherwise as amended; they are counted as they were issued.",
        lots.read_otherwise,
    )
    return note


def hours_note(effort: Effort) -> str:
    """Say what part of the hours went into rework."""
    if not effort.rework_hours:
        return ""
    together = effort.hours + effort.rework_hours
    note: str = gettext(
        "Of %(together)s hours noted, %(rework)s went into rework (%(share)s).",
        together=words().show(round(together, 1)),
        rework=words().show(round(effort.rework_hours, 1)),
        share=words().show(Share(effort.rework_hours / together)),
    )
    return note


def _lot_table(title: str, kind: str, groups: Sequence[GroupLine]) -> TableView:
    held_back = gettext(
        "Fewer than %(people)s people: no figures are shown.", people=LEAST_PEOPLE_OF_A_CREW
    )
    return TableView(
        title=title,
        columns=[
            kind,
            (gettext("Lots"), "numeric"),
            (gettext("Accepted at the first audit"), "numeric"),
            (gettext("Accepted after rework"), "numeric"),
            (gettext("In rework"), "numeric"),
            (gettext("Closed, not mended"), "numeric"),
            (gettext("Not audited yet"), "numeric"),
            (gettext("Not chosen"), "numeric"),
            gettext("Reading"),
        ],
        rows=[
            [group.name, *_lot_figures(group.sums), held_back]
            if group.sums is None
            else [
                group.name,
                *_lot_figures(group.sums),
                words().say(group.sums.acceptance.sentence),
            ]
            for group in groups
        ],
    )


def _lot_figures(sums: LotSums | None) -> list[str | None]:
    if sums is None:
        return [None] * 7
    return [
        words().show(figure)
        for figure in (
            sums.lots,
            sums.first_accepted,
            sums.accepted_after_rework,
            sums.in_rework,
            sums.closed,
            sums.not_audited,
            sums.not_chosen,
        )
    ]


def _hours(hours: float, passes: int, without_hours: int) -> str:
    unknown = passes > 0 and passes == without_hours
    return "-" if unknown else words().show(round(hours, 1))


def _passes(passes: int, without_hours: int) -> str:
    counted: str = ngettext("%(num)s pass", "%(num)s passes", passes)
    if without_hours:
        counted = gettext(
            "%(passes)s, %(number)s without hours", passes=counted, number=without_hours
        )
    return counted


def _chart(line: StageLine) -> ChartView | None:
    if line.chart is None or line.chart.centre is None:
        return None
    return chart_view(
        line.chart,
        id_prefix=f"chart-{line.stage}",
        title=words().say(STAGE_NAMES[line.stage]),
        upright=gettext("Trees with a fault"),
        centre=gettext("the season: %(share)s", share=as_percentage(line.chart.centre)),
        note=_reading_of(line.chart),
        share=as_percentage,
    )


def _reading_of(chart: BlockChart) -> str:
    above = sum(point.signal is Signal.ABOVE for point in chart.points)
    below = sum(point.signal is Signal.BELOW for point in chart.points)
    sentences = []
    if above:
        sentences.append(
            ngettext(
                "%(num)s block had more faults than chance explains.",
                "%(num)s blocks had more faults than chance explains.",
                above,
            )
        )
    if below:
        sentences.append(
            ngettext(
                "%(num)s block had fewer faults than chance explains.",
                "%(num)s blocks had fewer faults than chance explains.",
                below,
            )
        )
    if not sentences:
        sentences.append(gettext("Every block of trees lies within what chance explains."))
    return " ".join(filter(None, (*sentences, waiting_note(chart))))
