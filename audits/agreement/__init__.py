"""
How well people agree who judge or measure the same trees.

`kappa` is for two auditors and one answer a tree, `raters` for many with missing ratings,
`against_reference` for one whose answers are the yardstick; `icc`, `bland_altman` and `gauge` are
for measured heights and diameters; `reading` says what people may be told, and what follows.
"""
