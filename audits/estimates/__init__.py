"""
Figures from samples: how sure they are, and when they may be shown or compared at all.

`intervals` and `differences` are for trees drawn one by one, `finite_lots` for a lot whose trees
can be counted, `clusters` for branches on trees and trees in rows, `strata` for wholes sampled
part by part, `sample_sizes` for questions not asked yet; `rates` says what people may be told.
"""

from audits.estimates.clusters import (
    Cluster,
    ClusterEstimate,
    Estimate,
    SubsampledCluster,
    share_in_clusters,
    share_in_two_stages,
)
from audits.estimates.differences import newcombe_difference
from audits.estimates.finite_lots import (
    LotEstimate,
    LotLimits,
    lot_limits,
    lot_upper_limit,
    normal_in_lot,
    wilson_in_lot,
)
from audits.estimates.intervals import (
    Interval,
    agresti_coull,
    clopper_pearson,
    exact_lower_limit,
    exact_upper_limit,
    jeffreys,
    wald,
    wilson,
    wilson_corrected,
    wilson_of_share,
)
from audits.estimates.rates import (
    FLAG_TAIL,
    LEAST_AUDITORS_TO_COMPARE,
    LEAST_DAYS_TO_COMPARE,
    LEAST_ROWS_TO_COMPARE,
    LEAST_TREES_FOR_A_RANGE,
    LEAST_TREES_TO_COMPARE,
    RateLevel,
    RateReading,
    describe_rate,
    ratio_of_sums,
)
from audits.estimates.sample_sizes import (
    DetectionSize,
    MarginSize,
    sample_size_for_margin,
    sample_size_to_detect,
    sample_size_to_detect_in_lot,
)
from audits.estimates.strata import (
    ClusteredStratum,
    CountedStratum,
    MeasuredStratum,
    stratified_mean,
    stratified_share,
    stratified_share_in_clusters,
    stratified_total,
)

__all__ = [
    "FLAG_TAIL",
    "LEAST_AUDITORS_TO_COMPARE",
    "LEAST_DAYS_TO_COMPARE",
    "LEAST_ROWS_TO_COMPARE",
    "LEAST_TREES_FOR_A_RANGE",
    "LEAST_TREES_TO_COMPARE",
    "Cluster",
    "ClusterEstimate",
    "ClusteredStratum",
    "CountedStratum",
    "DetectionSize",
    "Estimate",
    "Interval",
    "LotEstimate",
    "LotLimits",
    "MarginSize",
    "MeasuredStratum",
    "RateLevel",
    "RateReading",
    "SubsampledCluster",
    "agresti_coull",
    "clopper_pearson",
    "describe_rate",
    "exact_lower_limit",
    "exact_upper_limit",
    "jeffreys",
    "lot_limits",
    "lot_upper_limit",
    "newcombe_difference",
    "normal_in_lot",
    "ratio_of_sums",
    "sample_size_for_margin",
    "sample_size_to_detect",
    "sample_size_to_detect_in_lot",
    "share_in_clusters",
    "share_in_two_stages",
    "stratified_mean",
    "stratified_share",
    "stratified_share_in_clusters",
    "stratified_total",
    "wald",
    "wilson",
    "wilson_corrected",
    "wilson_in_lot",
    "wilson_of_share",
]
