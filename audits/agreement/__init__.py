"""
How well people agree who judge or measure the same trees.

`kappa` is for two auditors and one answer a tree, `raters` and `alpha` for many with ratings
missing, `against_reference` for one beside somebody whose answers are the yardstick; `icc`,
`bland_altman` and `gauge` are for measured heights and diameters; `reading` says what people may be
told, and what follows. `chance`, `tables` and `sheets` are what these share.
"""

from audits.agreement.against_reference import AgainstReference, ShareOfTrees, against_reference
from audits.agreement.alpha import Alpha, Level, krippendorff_alpha
from audits.agreement.bland_altman import (
    LimitsOfAgreement,
    Repeatability,
    bland_altman,
    repeatability,
)
from audits.agreement.chance import Coefficient
from audits.agreement.gauge import (
    GaugeByRanges,
    GaugeModel,
    GaugeStudy,
    gauge_rr,
    gauge_rr_range,
)
from audits.agreement.icc import IccForm, IntraclassCorrelation, intraclass_correlation
from audits.agreement.kappa import (
    KappaEstimate,
    cohen_kappa,
    early_errors,
    gwet_ac1_of_table,
    gwet_ac2_of_table,
    steady_interval,
    weighted_kappa,
)
from audits.agreement.raters import (
    FleissKappa,
    agreeing_pairs,
    brennan_prediger,
    conger_kappa,
    fleiss_kappa,
    fleiss_of_ratings,
    gwet_ac1,
    gwet_ac2,
)
from audits.agreement.reading import (
    AGREEMENT_LEVEL_NAMES,
    AgreementLevel,
    AgreementReading,
    read_agreement,
)
from audits.agreement.tables import weights_of_disagreement

__all__ = [
    "AGREEMENT_LEVEL_NAMES",
    "AgainstReference",
    "AgreementLevel",
    "AgreementReading",
    "Alpha",
    "Coefficient",
    "FleissKappa",
    "GaugeByRanges",
    "GaugeModel",
    "GaugeStudy",
    "IccForm",
    "IntraclassCorrelation",
    "KappaEstimate",
    "Level",
    "LimitsOfAgreement",
    "Repeatability",
    "ShareOfTrees",
    "against_reference",
    "agreeing_pairs",
    "bland_altman",
    "brennan_prediger",
    "cohen_kappa",
    "conger_kappa",
    "early_errors",
    "fleiss_kappa",
    "fleiss_of_ratings",
    "gauge_rr",
    "gauge_rr_range",
    "gwet_ac1",
    "gwet_ac1_of_table",
    "gwet_ac2",
    "gwet_ac2_of_table",
    "intraclass_correlation",
    "krippendorff_alpha",
    "read_agreement",
    "repeatability",
    "steady_interval",
    "weighted_kappa",
    "weights_of_disagreement",
]
