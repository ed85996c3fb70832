"""The form of a standard: one part a stage, from the top of the tree down."""

from datetime import date
from typing import Any, cast

from flask_babel import lazy_gettext
from wtforms import BooleanField, Form, FormField, RadioField, SelectField
from wtforms.validators import InputRequired

from audits.plain_words import PLAN_KIND_NAMES
from audits.sampling.tables import InspectionLevel, PlanKind
from audits.standard import LIMB_CALLER_NAMES, LimbCaller, Standard
from audits.units import LengthKind
from audits.vocabulary import (
    HEADING_RULE_NAMES,
    PLAN_METHOD_NAMES,
    HeadingRule,
    PlanMethod,
    Stage,
)
from webapp.forms import (
    BaseForm,
    DayField,
    LengthField,
    NumberField,
    PercentField,
    WholeNumberField,
    as_choices,
    choices_of,
)
from webapp.reading import words
from webapp.standards.presenters import OFFERED_LIMITS

_WAVES = (2, 3)
_FRACTIONS = ("acceptable_fraction", "rejectable_fraction")


class StagePart(Form):
    """What every stage has."""

    measured = BooleanField(lazy_gettext("The auditor measures instead of tapping"))
    acceptable_fraction = PercentField(lazy_gettext("Wrong trees in a good lot"))
    rejectable_fraction = PercentField(lazy_gettext("Wrong trees in a bad lot"))
    weight = NumberField(lazy_gettext("Weight in the points of a tree"))


class TopPart(StagePart):
    """The top."""

    in_use = BooleanField(lazy_gettext("Prune and score the top"))
    target_mm = LengthField(lazy_gettext("Target height"))
    tolerance_mm = LengthField(lazy_gettext("More or less that is right"))
    to_side_branch = BooleanField(lazy_gettext("The cut ends at a side branch"))
    by_mean = BooleanField(lazy_gettext("Decide by mean and spread of the measured heights"))
    outer_mm = LengthField(lazy_gettext("No points from this far off"))


class LimbsPart(StagePart):
    """The limbs."""

    in_use = BooleanField(lazy_gettext("Prune and score the limbs"))
    least = WholeNumberField(lazy_gettext("Large limbs out, at least"))
    most = WholeNumberField(lazy_gettext("Large limbs out, at most"))
    large_mm = LengthField(lazy_gettext("A limb is large from"), length_kind=LengthKind.DIAMETER)
    measured_out_mm = LengthField(lazy_gettext("Measured out from the union"), zero_allowed=True)
    wrong_limb_mm = LengthField(
        lazy_gettext("Wrong limb out, if one left is thicker by"), length_kind=LengthKind.DIAMETER
    )
    clean_cut_height_mm = LengthField(lazy_gettext("Clean cuts up to"), zero_allowed=True)
    outer_count = WholeNumberField(lazy_gettext("No points from this many limbs off"))


class ColumnsPart(StagePart):
    """The columns."""

    in_use = BooleanField(lazy_gettext("Prune and score the columns"))
    branches = WholeNumberField(lazy_gettext("Branches looked at"))
    least_single = WholeNumberField(lazy_gettext("Single columns among them, at least"))
    side_branch_mm = LengthField(lazy_gettext("A shoot is a side branch from"))
    outer_single = WholeNumberField(lazy_gettext("No points with this many single columns"))


class HeadingPart(StagePart):
    """The heading of hanging ends."""

    rule = RadioField(
        lazy_gettext("Heading"), [InputRequired(lazy_gettext("Choose one."))], coerce=HeadingRule
    )
    thinnest_mm = LengthField(lazy_gettext("Cut from"), length_kind=LengthKind.DIAMETER)
    thickest_mm = LengthField(lazy_gettext("Cut up to"), length_kind=LengthKind.DIAMETER)
    outer_mm = LengthField(
        lazy_gettext("No points from this far off"), length_kind=LengthKind.DIAMETER
    )
    looked_at = WholeNumberField(lazy_gettext("Ends looked at, at most"))
    most_wrong = WholeNumberField(lazy_gettext("Wrong ends allowed"))
    few = WholeNumberField(lazy_gettext("None allowed with fewer ends than"))
    by_mean = BooleanField(lazy_gettext("Decide by mean and spread of the measured cuts"))


class SamplingPart(Form):
    """How many trees are looked at."""

    method = RadioField(
        lazy_gettext("How a lot is decided"),
        [InputRequired(lazy_gettext("Choose one."))],
        coerce=PlanMethod,
    )
    most_waves = SelectField(
        lazy_gettext("Walks, at most"), [InputRequired(lazy_gettext("Choose one."))], coerce=int
    )
    skip_lots = BooleanField(lazy_gettext("Audit one lot in three of a crew with five good lots"))
    acceptable_quality_limit = SelectField(
        lazy_gettext("Acceptable quality limit (AQL)"),
        [InputRequired(lazy_gettext("Choose one."))],
        coerce=float,
    )
    inspection_level = SelectField(
        lazy_gettext("Inspection level"),
        [InputRequired(lazy_gettext("Choose one."))],
        coerce=InspectionLevel,
    )
    table_kind = RadioField(
        lazy_gettext("Samples"), [InputRequired(lazy_gettext("Choose one."))], coerce=PlanKind
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:  # noqa: ANN401 - handed on
        super().__init__(*args, **kwargs)
        self.method.choices = as_choices(PLAN_METHOD_NAMES)
        self.most_waves.choices = choices_of((waves, str(waves)) for waves in _WAVES)
        self.acceptable_quality_limit.choices = choices_of(
            (limit, words().show(limit)) for limit in OFFERED_LIMITS
        )
        self.inspection_level.choices = choices_of(
            (level, level.value) for level in InspectionLevel
        )
        self.table_kind.choices = as_choices(PLAN_KIND_NAMES)


class SignOffPart(Form):
    """When a new hire is signed off in a stage."""

    trees = WholeNumberField(lazy_gettext("Due trees in a row"))
    most_nonconforming = WholeNumberField(lazy_gettext("Wrong ones among them, at most"))


class StandardForm(BaseForm):
    """A version of a block's standard."""

    in_force_from = DayField(lazy_gettext("In force from"))
    top = FormField(TopPart)
    limbs = FormField(LimbsPart)
    columns = FormField(ColumnsPart)
    heading = FormField(HeadingPart)
    sampling = FormField(SamplingPart)
    limb_caller = RadioField(
        lazy_gettext("Two people at a tree: who calls the limbs"),
        [InputRequired(lazy_gettext("Choose one."))],
        coerce=LimbCaller,
    )
    sign_off = FormField(SignOffPart)
    audit_within_days = WholeNumberField(lazy_gettext("Audit a finished row within"))
    skip_decided = BooleanField(lazy_gettext("Leave a stage out once it is decided"))
    producer_risk = PercentField(lazy_gettext("A good lot may go back by chance"))
    consumer_risk = PercentField(lazy_gettext("A bad lot may pass a stage by chance"))
    diameter_guard_mm = LengthField(
        lazy_gettext("A thickness is a fault only beyond its limit by"),
        length_kind=LengthKind.DIAMETER,
        zero_allowed=True,
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:  # noqa: ANN401 - handed on
        super().__init__(*args, **kwargs)
        self.heading.form.rule.choices = as_choices(HEADING_RULE_NAMES)
        self.limb_caller.choices = as_choices(LIMB_CALLER_NAMES)

    def first_day(self) -> date:
        """Return the first day on which the version is in force."""
        return cast("date", self.in_force_from.data)

    def criteria(self) -> dict[str, Any]:
        """Return the criteria as they are stored, each stage's two fractions in its promise."""
        criteria = self.entered("in_force_from")
        for stage in Stage:
            part = dict(criteria[stage])
            part["promise"] = {name: part.pop(name) for name in _FRACTIONS}
            criteria[stage] = part
        return criteria


def values_of(standard: Standard) -> dict[str, Any]:
    """Return a standard's criteria as the form takes them."""
    values = standard.model_dump()
    for stage in Stage:
        values[stage].update(values[stage].pop("promise"))
    return values
