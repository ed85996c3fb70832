"""A fair comparison as its page shows it: the funnel, and everything else in words by name."""

from dataclasses import dataclass

from babel.dates import format_skeleton
from flask_babel import gettext, ngettext
from markupsafe import Markup

from audits.estimates import (
    LEAST_AUDITORS_TO_COMPARE,
    LEAST_DAYS_TO_COMPARE,
    LEAST_ROWS_TO_COMPARE,
    LEAST_TREES_TO_COMPARE,
)
from audits.messages import Share
from audits.records import Worker
from audits.services.comparing import (
    Around,
    Comparison,
    FairLine,
    Funnel,
    FunnelPoint,
    GroupLine,
    Place,
)
from audits.services.comparing_heights import HeightComparison
from audits.services.fitting import Factor, FitStatus
from audits.services.weeks import WeeklyCourse
from audits.vocabulary import STAGE_NAMES, Stage
from printables.drawing.funnel import FunnelEdge, FunnelLabels, FunnelPlace, funnel_drawing
from printables.drawing.svg import to_svg
from webapp.extensions import farm, farm_day
from webapp.navigation import way_to
from webapp.reading import words

Column = str | tuple[str, str]


@dataclass(frozen=True)
class TableView:
    """What the macro of a table takes."""

    title: str
    columns: list[Column]
    rows: list[list[str | None]]


@dataclass(frozen=True)
class FunnelView:
    """What the macro of a chart takes."""

    drawing: Markup
    title: str
    note: str
    columns: list[Column]
    rows: list[list[str]]


@dataclass(frozen=True)
class FairView:
    """A person's rate, three ways."""

    worker_id: int
    name: str
    belongs: str
    counted: str
    in_blocks: str
    fair: str
    words: list[str]
    needs_a_look: bool


@dataclass(frozen=True)
class FitView:
    """Where the mixed models of the page stand."""

    standing: str
    problem: str
    progress: float | None
    key: str


@dataclass(frozen=True)
class CourseView:
    """How a group went, week by week."""

    name: str
    sentences: list[str]
    table: TableView | None


@dataclass(frozen=True)
class PageView:
    """Everything that the page says."""

    lead: list[str]
    has_results: bool
    stages: list[tuple[str, str, bool]]
    arounds: list[tuple[str, str, bool]]
    beside: str
    funnel: FunnelView | None
    no_funnel: str
    people: list[FairView]
    groups: list[TableView]
    together: list[str]
    auditors_url: str | None
    courses: list[CourseView]
    heights: list[TableView]
    heights_lead: str
    fit: FitView


def comparison_page(found: Comparison) -> PageView:
    """Return what the page of a comparison says, in the reader's language."""
    heights = found.heights
    return PageView(
        lead=_lead(found),
        has_results=bool(found.people or found.left_out or found.courses),
        stages=[(each, words().say(STAGE_NAMES[each]), each is found.stage) for each in Stage],
        arounds=_arounds(found),
        beside=(
            gettext("Beside the farm's own rate")
            if found.funnel is not None and found.funnel.around is Around.FARM
            else gettext("Beside the standard")
        ),
        funnel=None if found.funnel is None else _funnel(found.funnel),
        no_funnel=_no_funnel(found),
        people=[_fair(line) for line in found.lines],
        groups=_blocks_and_auditors(found),
        together=_together(found),
        auditors_url=way_to("auditors.index"),
        courses=[_course(course) for course in found.courses],
        heights=[] if heights is None else _heights(heights),
        heights_lead="" if heights is None else _heights_lead(heights),
        fit=_fit(found.fit, heights.fit if heights else None),
    )


def name_of(worker: Worker) -> str:
    """Return a worker's name, or the code once the name was erased."""
    return worker.name or worker.code


def _lead(found: Comparison) -> list[str]:
    sentences = []
    if found.people:
        sentences.append(
            ngettext(
                "%(set_beside)s of %(num)s person has enough trees to be set beside the standard.",
                "%(set_beside)s of %(num)s people have enough trees to be set beside the standard.",
                found.people,
                set_beside=found.set_beside,
            )
        )
        sentences.append(
            gettext(
                "It takes %(trees)s due trees, %(days)s days, %(rows)s rows and %(auditors)s "
                "auditors.",
                trees=LEAST_TREES_TO_COMPARE,
                days=LEAST_DAYS_TO_COMPARE,
                rows=LEAST_ROWS_TO_COMPARE,
                auditors=LEAST_AUDITORS_TO_COMPARE,
            )
        )
        fewer = found.people - found.set_beside
        if fewer:
            sentences.append(
                ngettext(
                    "%(num)s person has fewer and is compared with nothing yet.",
                    "%(num)s people have fewer and are compared with nothing yet.",
                    fewer,
                )
            )
    if found.left_out:
        sentences.append(
            ngettext(
                "%(num)s tree is left out: the scores of %(names)s do not count here until they "
                "agree with the others again.",
                "%(num)s trees are left out: the scores of %(names)s do not count here until they "
                "agree with the others again.",
                found.left_out_trees,
                names=", ".join(found.left_out),
            )
        )
    return sentences


def _arounds(found: Comparison) -> list[tuple[str, str, bool]]:
    chosen = found.funnel.around if found.funnel else Around.STANDARD
    names = {
        Around.STANDARD: gettext("what the standard accepts"),
        Around.FARM: gettext("the farm's own rate"),
    }
    return [(around, name, around is chosen) for around, name in names.items()]


def _no_funnel(found: Comparison) -> str:
    if found.funnel is not None:
        return ""
    if found.lines:
        return str(gettext("There is no rate between none and all to set anybody beside."))
    return str(gettext("Nobody has enough trees yet to be set beside the standard."))


# --- the funnel ----------------------------------------------------------------------------------


def _funnel(funnel: Funnel) -> FunnelView:
    reader = words()
    title = gettext("Rates as counted, and what chance explains")
    note = " ".join(_funnel_notes(funnel))
    labels = FunnelLabels(
        title=title,
        description=note,
        upright=gettext("Trees with a fault"),
        across=gettext("Due trees"),
        point=gettext("one person"),
        centre=(
            gettext("the standard accepts %(share)s", share=_percent(funnel.centre))
            if funnel.around is Around.STANDARD
            else gettext("the farm: %(share)s", share=_percent(funnel.centre))
        ),
        inner=gettext("95 in 100 by chance"),
        outer=gettext("998 in 1,000 by chance"),
        beyond=gettext("beyond chance, as counted"),
        share=_percent,
        number=reader.show,
    )
    drawing = funnel_drawing(
        [
            FunnelPlace(
                point.reading.due,
                point.reading.nonconforming / point.reading.due,
                point.place is Place.BEYOND,
            )
            for point in funnel.points
        ],
        [FunnelEdge(edge.due, *edge.inner, *edge.outer) for edge in funnel.curve],
        funnel.centre,
        labels,
    )
    return FunnelView(
        # The drawing layer escapes every text that it writes.
        drawing=Markup(to_svg(drawing, id_prefix="funnel")),  # noqa: S704
        title=title,
        note=note,
        columns=[
            gettext("Name"),
            (gettext("With a fault"), "numeric"),
            (gettext("95 in 100 by chance"), "numeric"),
            (gettext("998 in 1,000 by chance"), "numeric"),
            gettext("Reading"),
        ],
        rows=[_figures(point) for point in funnel.points],
    )


def _funnel_notes(funnel: Funnel) -> list[str]:
    reader = words()
    line = (
        gettext("The level line is what the standard accepts: %(share)s of trees with a fault.")
        if funnel.around is Around.STANDARD
        else gettext("The level line is the farm's own rate: %(share)s of trees with a fault.")
    )
    notes = [line % {"share": _percent(funnel.centre)}]
    beyond = sum(point.place is Place.BEYOND for point in funnel.points)
    if not beyond:
        notes.append(gettext("Nobody lies above what chance explains."))
    else:
        notes.append(
            ngettext(
                "%(num)s person lies above what chance explains in 998 of 1,000.",
                "%(num)s people lie above what chance explains in 998 of 1,000.",
                beyond,
            )
        )
    if funnel.is_widened:
        notes.append(
            gettext(
                "People differ more than single trees by chance would (factor %(factor)s), as "
                "where trees of a row are alike; the limits are widened for that.",
                factor=reader.show(round(funnel.scatter, 1)),
            )
        )
    return notes


def _figures(point: FunnelPoint) -> list[str]:
    due = point.reading.due
    readings = {
        Place.INSIDE: gettext("within chance"),
        Place.FEWER: gettext("fewer faults"),
        Place.MORE: gettext("at the edge of chance"),
        Place.BEYOND: gettext("beyond chance, as counted"),
    }
    return [
        name_of(point.worker),
        _unbroken(gettext("%(count)s of %(due)s", count=point.reading.nonconforming, due=due)),
        _count_range(point.inner.lower * due, point.inner.upper * due),
        _count_range(point.outer.lower * due, point.outer.upper * due),
        readings[point.place],
    ]


def _count_range(least: float, most: float) -> str:
    show = words().show
    # Widened limits are no whole counts: what lies inside them is.
    low, high = -int(-least + 1e-9), int(most + 1e-9)
    return _unbroken(gettext("%(least)s to %(most)s", least=show(low), most=show(high)))


def _percent(fraction: float) -> str:
    tenths = abs(round(100 * fraction) - 100 * fraction) > 0.05  # noqa: PLR2004 - half a tenth
    return words().show(Share(fraction, decimals=1 if tenths else 0))


def _unbroken(text: str) -> str:
    return text.replace(" ", "\u00a0")


# --- people, blocks, auditors --------------------------------------------------------------------


def _fair(line: FairLine) -> FairView:
    reader = words()
    return FairView(
        worker_id=line.worker.id,
        name=name_of(line.worker),
        belongs=line.worker.code if line.worker.name else "",
        counted=reader.say(line.reading.sentence),
        in_blocks=reader.say(line.in_blocks),
        fair=reader.say(line.fair) if line.fair else "",
        words=[reader.say(sentence) for sentence in line.words],
        needs_a_look=line.needs_a_look,
    )


def _blocks_and_auditors(found: Comparison) -> list[TableView]:
    """Set blocks and auditors beside each other; before that is worked out they say nothing."""
    if found.fit.result is None:
        return []
    tables = [
        _groups(
            gettext("Blocks"), gettext("Block"), gettext("An average person there"), found.blocks
        ),
        _groups(
            gettext("Auditors"),
            gettext("Name"),
            gettext("An average person, as they score"),
            found.auditors,
        ),
    ]
    return [table for table in tables if table.rows]


def _groups(title: str, kind: str, reading: str, lines: tuple[GroupLine, ...]) -> TableView:
    reader = words()
    return TableView(
        title=title,
        columns=[kind, reading, gettext("In words")],
        rows=[
            [
                line.name,
                reader.say(line.reading),
                reader.say(line.words) if line.words else None,
            ]
            for line in lines
        ],
    )


def _together(found: Comparison) -> list[str]:
    """Say which of the three always go together, so that nothing can tell them apart."""
    result = found.fit.result
    if result is None:
        return []
    sentences = {
        frozenset({Factor.BLOCK, Factor.AUDITOR}): gettext(
            "Every block had an auditor of its own: a hard block and a strict auditor cannot be "
            "told apart here."
        ),
        frozenset({Factor.WORKER, Factor.BLOCK}): gettext(
            "Every person had a block of their own: a hard block and its person cannot be told "
            "apart here."
        ),
        frozenset({Factor.WORKER, Factor.AUDITOR}): gettext(
            "Every person had an auditor of their own: a strict auditor and the person cannot be "
            "told apart here."
        ),
    }
    return [sentences[frozenset(pair)] for pair in result.confounded]


# --- weeks ---------------------------------------------------------------------------------------


def _course(course: WeeklyCourse) -> CourseView:
    reader = words()
    return CourseView(
        name=course.name or gettext("The whole farm"),
        sentences=[reader.say(sentence) for sentence in course.sentences],
        table=TableView(
            title=gettext("Weeks of %(name)s", name=course.name or farm().name),
            columns=[
                gettext("Week of"),
                (gettext("Due trees"), "numeric"),
                (gettext("With a fault"), "numeric"),
            ],
            rows=[
                [
                    format_skeleton("MMMMd", week.monday, locale=reader.locale),
                    reader.show(week.due),
                    reader.show(week.nonconforming),
                ]
                for week in course.weeks
            ],
        )
        if course.weeks
        else None,
    )


# --- heights -------------------------------------------------------------------------------------


def _heights_lead(heights: HeightComparison) -> str:
    sentence: str = ngettext(
        "%(compared)s of %(num)s person has enough measured trees.",
        "%(compared)s of %(num)s people have enough measured trees.",
        heights.people,
        compared=len(heights.lines),
    )
    return sentence


def _heights(heights: HeightComparison) -> list[TableView]:
    reader = words()
    tables = []
    if heights.lines:
        tables.append(
            TableView(
                title=gettext("Heights by person"),
                columns=[
                    gettext("Name"),
                    gettext("As measured"),
                    gettext("Block and auditor taken out"),
                ],
                rows=[
                    [
                        name_of(line.worker),
                        reader.say(line.measured),
                        reader.say(line.fair) if line.fair else None,
                    ]
                    for line in heights.lines
                ],
            )
        )
    names = {
        Factor.BLOCK: (gettext("Heights by block"), gettext("Block")),
        Factor.AUDITOR: (gettext("Heights by auditor"), gettext("Name")),
    }
    for factor, (title, kind) in names.items():
        groups = [group for group in heights.groups if group.factor is factor]
        if groups:
            tables.append(
                TableView(
                    title=title,
                    columns=[kind, gettext("An average person"), gettext("In words")],
                    rows=[
                        [
                            group.name,
                            reader.say(group.reading),
                            reader.say(group.words) if group.words else None,
                        ]
                        for group in groups
                    ],
                )
            )
    return tables


# --- the mixed model -----------------------------------------------------------------------------


def _fit(faults: FitStatus, heights: FitStatus | None) -> FitView:
    statuses = [faults, *([heights] if heights else [])]
    pending = [status.pending for status in statuses if status.pending]
    problem = next((status.problem for status in statuses if status.problem), None)
    return FitView(
        standing=_standing(faults, is_outdated=any(status.is_outdated for status in statuses)),
        problem=words().say(problem) if problem and not pending else "",
        progress=sum(fit.progress for fit in pending) / len(pending) if pending else None,
        key=gettext("Work it out anew") if faults.done else gettext("Work out the fair rates"),
    )


def _standing(status: FitStatus, *, is_outdated: bool) -> str:
    if status.done is None or status.done.begun_at is None or status.result is None:
        return ""
    reader = words()
    day = farm_day(status.done.begun_at)
    worked_out: str = ngettext(
        "Worked out on %(day)s from %(num)s audit.",
        "Worked out on %(day)s from %(num)s audits.",
        status.result.audits,
        day=format_skeleton("MMMMd", day, locale=reader.locale),
    )
    if is_outdated:
        changed = gettext("Since then scores in it were amended, or count otherwise.")
        return f"{worked_out} {changed}"
    if not status.newer_audits:
        return worked_out
    newer = ngettext(
        "%(num)s audit since then is not in it.",
        "%(num)s audits since then are not in it.",
        status.newer_audits,
    )
    return f"{worked_out} {newer}"
