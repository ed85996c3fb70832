"""
Fair comparison: what of a difference is chance, and what belongs to the block or the auditor.

`funnel` says how far chance alone takes a worker from a target, `standardising` what was to be
expected in the blocks a worker pruned, `shrinkage` how far a small sample may be believed.
`mixed_binomial` and `mixed_linear` set workers, blocks and auditors apart from each other;
`trend_tests` and `regression` ask whether anything changes with time, `power` how many trees a
question takes, `multiple` what remains of many questions asked at once. `reasons` holds the
sentences for where there is no answer.

Nothing is imported here: some of these modules load numpy and scipy, others none of them.
"""
