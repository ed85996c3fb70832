"""How sure a lot's plan is: curves, sentences, and what asking for more or less leads to."""

from collections.abc import Mapping
from dataclasses import dataclass

from flask import url_for
from flask_babel import gettext

from audits.clustered_faults import lot_caution
from audits.lot_figures import (
    QUALITY_CHANCES,
    LotFigures,
    StageFigures,
    consequences,
    figures_of_standard,
)
from audits.lot_words import (
    A_LOT,
    A_ROW,
    InHundred,
    consequence_sentence,
    goes_back_sentence,
    limit_sentence,
    often,
    table_words,
    walk_words,
)
from audits.messages import say
from audits.sampling import Inspection, draw_trees, walk_lengths, walk_sizes
from audits.sampling.stored import read_plan
from audits.services.lots import DrawLine, LotView
from audits.services.planning import LotPlan
from audits.standard import Standard
from audits.vocabulary import STAGE_NAMES, STRICTNESS_NAMES, PlanMethod, Stage, Strictness
from webapp.plan_curves import CurveView, curve_view
from webapp.reading import words

# Any seed shows about how long the walk is.
_SEED_OF_EXAMPLE = 0


@dataclass(frozen=True)
class PlanGroup:
    """Stages with one plan: their curve, and how they are decided on the walk."""

    stages: str
    curve: CurveView
    limit: str | None
    tables: list[str]
    walk: list[str]
    particulars: list[tuple[str, str]]


@dataclass(frozen=True)
class Choice:
    """Asking for less, for what the standard says, or for more."""

    value: Strictness
    name: str
    consequence: str
    url: str
    shown: bool


@dataclass(frozen=True)
class PlanSurety:
    """The plan of a lot, and how sure it is."""

    lead: str
    facts: list[tuple[str, str, str]]
    particulars: list[tuple[str, str]]
    groups: list[PlanGroup]
    choices: list[Choice]
    caution: str | None

    @property
    def notes(self) -> dict[str, str]:
        """What each choice leads to, as the form takes it."""
        return {str(choice.value): choice.consequence for choice in self.choices}


def next_plan(view: LotView, plan: LotPlan, strictness: Strictness) -> PlanSurety:
    """Return the plan of a lot's next audit, with what lighter and stricter would lead to."""
    whole = whole_of(view)
    found = consequences(plan.standard, len(plan.places), plan.plans, inspections=plan.inspections)
    by_choice = {each.strictness: each.figures for each in found}
    written = by_choice[Strictness.AS_WRITTEN]
    shown = strictness if strictness in by_choice else Strictness.AS_WRITTEN
    figures = by_choice[shown]
    return PlanSurety(
        lead=words().say(goes_back_sentence(figures, whole)),
        facts=_facts(figures),
        particulars=[
            *_lot_particulars(figures, plan.standard),
            (gettext("Length of the walk"), _walk_length(plan, figures)),
        ],
        groups=_groups(figures, plan.standard, plan.inspections, whole),
        choices=[
            Choice(
                value=each.strictness,
                name=words().say(STRICTNESS_NAMES[each.strictness]),
                consequence=words().say(
                    consequence_sentence(each.strictness, each.figures, written, whole)
                ),
                url=url_for("auditing.plan", lot_id=view.lot.id, strictness=each.strictness),
                shown=each.strictness is shown,
            )
            for each in found
            if len(found) > 1
        ],
        caution=_caution(figures),
    )


def drawn_plan(view: LotView, line: DrawLine, standard: Standard) -> PlanSurety:
    """Return the plan by which a lot's trees were drawn."""
    whole = whole_of(view)
    plans = {each.stage: read_plan(each.plan) for each in line.plans}
    figures = figures_of_standard(standard, plans, line.draw.lot_size)
    inspections = {
        each.stage: Inspection(each.plan["table"]["inspection"])
        for each in line.plans
        if "table" in each.plan
    }
    return PlanSurety(
        lead=words().say(goes_back_sentence(figures, whole)),
        facts=_facts(figures),
        particulars=_lot_particulars(figures, standard),
        groups=_groups(figures, standard, inspections, whole),
        choices=[],
        caution=_caution(figures),
    )


def whole_of(view: LotView) -> str:
    """Return the word for what is accepted together: a row, or a lot of several."""
    return A_ROW if len(view.ranges) == 1 else A_LOT


def _caution(figures: LotFigures) -> str | None:
    """Say what the chances are worth where faults stand in clusters; None if all is measured."""
    caution = lot_caution(figures)
    return None if caution is None else words().say(caution)


def _facts(figures: LotFigures) -> list[tuple[str, str, str]]:
    show = words().show
    return [
        (
            show(round(figures.expected_trees)),
            gettext("trees, on average"),
            gettext("until every stage is decided, where all is well"),
        ),
        (
            show(figures.largest_sample),
            gettext("trees at most"),
            gettext("of %(trees)s", trees=show(figures.lot_size)),
        ),
        (
            show(round(figures.expected_minutes)),
            gettext("minutes, on average"),
            gettext("at %(seconds)s seconds a tree", seconds=show(round(figures.seconds_a_tree))),
        ),
    ]


def _lot_particulars(figures: LotFigures, standard: Standard) -> list[tuple[str, str]]:
    reader = words()
    lines = []
    if standard.sampling.method is not PlanMethod.TABLE:
        lines.append(
            (
                gettext("The standard lets a good lot go back at most"),
                reader.say(often(standard.producer_risk)),
            )
        )
    return [
        *lines,
        (
            gettext("Trees where one stage is bad, on average"),
            reader.show(round(figures.expected_trees_one_rejectable)),
        ),
        (gettext("Minutes at most"), reader.show(round(figures.most_minutes))),
    ]


def _walk_length(plan: LotPlan, figures: LotFigures) -> str:
    sizes = walk_sizes(stage.plan for stage in figures.stages)
    drawn = draw_trees(plan.places, sizes, 0, _SEED_OF_EXAMPLE)
    lengths = walk_lengths(drawn.walk, plan.places)
    least, most = lengths[0], lengths[-1]
    if most - least < most / 10:
        # A second walk leads back, where one has to go in any case.
        return str(gettext("about %(trees)s trees, out and back", trees=_about(most)))
    return str(
        gettext(
            "about %(least)s to %(most)s trees, out and back",
            least=_about(least),
            most=_about(most),
        )
    )


def _about(trees: int) -> str:
    return words().show(max(1, round(trees, -1)))


def _groups(
    figures: LotFigures,
    standard: Standard,
    inspections: Mapping[Stage, Inspection],
    whole: str,
) -> list[PlanGroup]:
    sizes = walk_sizes(stage.plan for stage in figures.stages)
    return [
        _group(group, standard, inspections, whole, sizes, number)
        for number, group in enumerate(figures.alike, start=1)
    ]


def _group(
    group: tuple[StageFigures, ...],
    standard: Standard,
    inspections: Mapping[Stage, Inspection],
    whole: str,
    walk: tuple[int, ...],
    number: int,
) -> PlanGroup:
    reader = words()
    first = group[0]
    lot_size = first.acceptable.lot_size
    states = dict.fromkeys(inspections.get(each.stage, Inspection.NORMAL) for each in group)
    by_table = first.at_limit is not None
    return PlanGroup(
        stages=", ".join(reader.say(STAGE_NAMES[each.stage]) for each in group),
        curve=curve_view(
            first, id_prefix=f"plan-{number}", title=gettext("How often it passes"), whole=whole
        ),
        limit=reader.say(limit_sentence(first)) if by_table else None,
        tables=[
            reader.say(table_words(standard.sampling, lot_size, state))
            for state in states
            if by_table
        ],
        walk=[reader.say(sentence) for sentence in walk_words(first.plan, lot_size, walk)],
        particulars=_group_particulars(first),
    )


def _group_particulars(figures: StageFigures) -> list[tuple[str, str]]:
    reader = words()
    lot_size = figures.acceptable.lot_size
    accepted = [
        (
            gettext("Passes %(often)s with up to", often=reader.say(often(chance))),
            reader.say(
                say(
                    "%(bad)s of %(trees)s trees bad, %(fraction)s in 100",
                    bad=round(fraction * lot_size),
                    trees=lot_size,
                    fraction=InHundred(round(fraction, 3)),
                )
            ),
        )
        for chance, fraction in zip(QUALITY_CHANCES, figures.accepted_fractions, strict=True)
    ]
    return [
        *accepted,
        (
            gettext("A good stage goes back by chance"),
            reader.say(often(1.0 - figures.acceptable.chance)),
        ),
        (
            gettext("Trees for one such stage alone, on average"),
            gettext(
                "%(good)s where it is good, %(bad)s where it is bad",
                good=reader.show(round(figures.expected_trees)),
                bad=reader.show(round(figures.expected_trees_rejectable)),
            ),
        ),
    ]
