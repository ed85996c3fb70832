"""The stages of a tree as a phone scores them: each tile with what the engine makes of it."""

from collections.abc import Mapping, Sequence

from flask import get_template_attribute
from flask_babel import force_locale
from werkzeug.datastructures import MultiDict

from audits.messages import Units, Words
from audits.records import DrawStage
from audits.sampling import MeasuredPlan
from audits.sampling.measured import MEASURED_KINDS
from audits.sampling.stored import read_plan
from audits.scoring import (
    WHOLE_TREE_STAGES,
    Missed,
    StageScore,
    Tap,
    measured_limits,
    possible_faults,
    read_answers,
    score_tree,
)
from audits.standard import Standard, asks_for_side_branch
from audits.units import kept_length
from audits.vocabulary import Method, Stage
from webapp.auditing.entry import StagePanel, read_entry, stage_panels
from webapp.auditing.measures import is_measurable, is_only_measured


def stage_payload(
    plan: DrawStage, standard: Standard, method: Method, panel: StagePanel
) -> dict[str, object]:
    """Return one stage of a draw as a phone scores it."""
    stage = plan.stage
    return {
        "stage": stage,
        "plan": plan.plan,
        "risks": {"producer": plan.producer_risk, "consumer": plan.consumer_risk},
        "tiles": {tile.value: _tile(tile.value, stage, standard, method) for tile in panel.tiles},
        "faults": possible_faults(standard, stage, method),
        "missed": {
            Missed.TREE: _missed(Missed.TREE, stage, standard, method),
            Missed.SIDE: None
            if stage in WHOLE_TREE_STAGES
            else _missed(Missed.SIDE, stage, standard, method),
        },
        "only_measured": is_only_measured(stage, standard),
        "measurable": is_measurable(stage, standard),
        "by_mean": _mean_limits(plan, standard),
        "rule": rule_numbers(stage, standard, method),
    }


def panels_of(
    standard: Standard, method: Method, stages: Sequence[Stage], words: Words
) -> list[StagePanel]:
    """Return the panels of a tree's stages with nothing chosen."""
    return stage_panels(standard, method, MultiDict(), {}, words, stages=stages)


def screen(panels: Sequence[StagePanel], words: Words) -> str:
    """Return the markup of a tree's stages, the same as on the tree's own page."""
    # The template's texts go by the language of the page, which is not the one asked for here.
    with force_locale(words.locale):
        return str(get_template_attribute("components/stages.html", "tree_stages")(panels))


def _tile(value: str, stage: Stage, standard: Standard, method: Method) -> dict[str, object]:
    """Return what a tile answers, as the tree's form is read, and what the engine makes of it."""
    form: MultiDict[str, str] = MultiDict({str(stage): value})
    if value == Tap.FAULT:
        # Which fault it is changes nothing in the result: any one serves.
        form[f"{stage}_faults"] = possible_faults(standard, stage, method)[0]
    entry = read_entry(form, standard, Units.METRIC, method=method, stages=(stage,))
    answer = {key: part for key, part in entry["stages"][stage].items() if key != "faults"}
    return {"answer": answer, "result": _score(entry, stage, standard, method).result}


def _missed(missed: Missed, stage: Stage, standard: Standard, method: Method) -> dict[str, object]:
    score = _score({"missed": missed}, stage, standard, method)
    return {"result": score.result, "faults": score.faults}


def _score(
    answers: Mapping[str, object], stage: Stage, standard: Standard, method: Method
) -> StageScore:
    return score_tree(standard, read_answers(answers), method=method, stages=(stage,)).stages[stage]


def _mean_limits(plan: DrawStage, standard: Standard) -> dict[str, object] | None:
    if not isinstance(read_plan(plan.plan), MeasuredPlan):
        return None
    lower_mm, upper_mm = measured_limits(standard, plan.stage)
    return {"kind": MEASURED_KINDS[plan.stage], "lower_mm": lower_mm, "upper_mm": upper_mm}


def rule_numbers(stage: Stage, standard: Standard, method: Method) -> dict[str, object]:
    """Return the numbers by which measures are judged, those worked out from others included."""
    rule = standard.rule(stage).model_dump(mode="json")
    guard_mm = standard.diameter_guard_mm
    rule["diameter_guard_mm"] = guard_mm
    match stage:
        case Stage.TOP:
            rule["band_mm"] = standard.top.band_mm
            rule["asks_side_branch"] = asks_for_side_branch(standard, method)
        case Stage.LIMBS:
            large_mm = standard.limbs.large_mm
            rule["surely_large_mm"] = kept_length(large_mm + guard_mm)
            rule["surely_small_mm"] = kept_length(large_mm - guard_mm)
        case Stage.HEADING:
            rule["limits_mm"] = measured_limits(standard, stage)
        case Stage.COLUMNS:
            pass
    return rule
