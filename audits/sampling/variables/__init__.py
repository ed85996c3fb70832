"""Acceptance sampling by measurement: heights and diameters, decided by mean and spread."""

from audits.sampling.variables.curves import (
    AcceptanceRange,
    variables_acceptance_at,
    variables_acceptance_probability,
    variables_acceptance_range,
)
from audits.sampling.variables.design import LARGEST_MEASURED_SAMPLE, design_variables
from audits.sampling.variables.estimates import fraction_beyond, index_of_fraction
from audits.sampling.variables.judging import (
    LEANING_SENTENCES,
    Leaning,
    MeasuredVerdict,
    judge_measurements,
)
from audits.sampling.variables.normality import NormalityCheck, check_normality
from audits.sampling.variables.plans import VariablesPlan
from audits.sampling.variables.tables import (
    TableVariablesPlan,
    VariablesStandard,
    variables_table_plan,
)

__all__ = [
    "LARGEST_MEASURED_SAMPLE",
    "LEANING_SENTENCES",
    "AcceptanceRange",
    "Leaning",
    "MeasuredVerdict",
    "NormalityCheck",
    "TableVariablesPlan",
    "VariablesPlan",
    "VariablesStandard",
    "check_normality",
    "design_variables",
    "fraction_beyond",
    "index_of_fraction",
    "judge_measurements",
    "variables_acceptance_at",
    "variables_acceptance_probability",
    "variables_acceptance_range",
    "variables_table_plan",
]
