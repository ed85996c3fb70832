"""Where the targets of pages lie on a photo: five equal runs, across and down."""

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
from PIL import Image, ImageFilter

from printables.reading.photo import Floats, Grey, levels_at

# Long side of the photo on which targets are looked for.
_SEARCHED_PX: Final = 1000
_RUNS: Final = 5
_SMALLEST_PX: Final = 9.0
# Part of the long side that the largest target may take up.
_LARGEST: Final = 0.08
# How far a run may be from a fifth of the whole.
_UNEVEN: Final = 0.55
# How far the surroundings reach, as parts of the long side; nearer where a shadow's edge falls.
_SURROUNDINGS: Final = (1 / 45, 1 / 90)
_CORNERS: Final = 4
# Dark is what is darker than its surroundings by this factor.
_DARK: Final = 0.92
# Of the brightness of paper that must lie between dark and light parts.
_LEAST_CONTRAST: Final = 0.075
# What is clearer than that is a page's target in good light, and hardly anything else.
CLEAR_TARGET: Final = 0.25
# How far the middles of runs across and down may lie apart, and how their lengths may differ.
_NEAR_PX: Final = 2
_SLANTED: Final = 2.0


@dataclass(frozen=True, slots=True)
class Target:
    """
    A target on a photo.

    Parameters
    ----------
    x, y : float
        Its centre in pixels.
    size : float
        Its diameter in pixels.
    contrast : float
        How much darker its dark parts are than its light ones, a ratio in [0, 1].
    """

    x: float
    y: float
    size: float
    contrast: float


def find_targets(photo: Grey) -> list[Target]:
    """
    Find everything that looks like a page's target.

    Parameters
    ----------
    photo : numpy.ndarray
        The photo in grey.

    Returns
    -------
    list of Target
        What was found, the clearest first.
    """
    image = Image.fromarray(photo)
    found: list[Target] = []
    for factor in _factors(photo):
        small = image.reduce(factor) if factor > 1 else image
        for reach in _SURROUNDINGS:
            targets = _found(np.asarray(small), small, max(small.size) * reach)
            found += [
                target
                for target in (_in_full(photo, target, factor) for target in targets)
                if _is_apart(target, found)
            ]
            # What is less clear may be anything: a page's own may still be missing.
            if sum(target.contrast > CLEAR_TARGET for target in found) >= _CORNERS:
                return sorted(found, key=lambda target: -target.contrast)
    return sorted(found, key=lambda target: -target.contrast)


def _factors(photo: Grey) -> list[int]:
    """By how much the photo is made smaller: first for speed, then not at all."""
    factor = max(1, round(max(photo.shape) / _SEARCHED_PX))
    return [factor, 1] if factor > 1 else [1]


def _is_apart(target: Target, others: list[Target]) -> bool:
    return all(np.hypot(target.x - other.x, target.y - other.y) > other.size for other in others)


def _found(photo: Grey, image: Image.Image, reach: float) -> list[Target]:
    surroundings = np.asarray(image.filter(ImageFilter.BoxBlur(reach)))
    dark = photo < _DARK * surroundings.astype(np.float32) - 2.0
    across = _runs(dark)
    down = _runs(np.ascontiguousarray(dark.T))[:, [1, 0, 2]]
    return _checked(photo, _crossings(photo.shape, across, down))


def _runs(dark: npt.NDArray[np.bool_]) -> Floats:
    """Return column, row and length of five equal runs, dark at both ends, in all rows."""
    height, width = dark.shape
    fenced = np.zeros((height, width + 1), dtype=np.int8)
    fenced[:, 1:] = dark
    line = fenced.ravel()
    edges = np.flatnonzero(line[1:] != line[:-1]) + 1
    if len(edges) <= _RUNS:
        return np.empty((0, 3))
    # Edges alternate: the first one leads into the dark.
    starts = edges[:-_RUNS:2]
    whole = edges[_RUNS::2][: len(starts)] - starts
    unit = whole / _RUNS
    even = (whole >= _SMALLEST_PX) & (whole <= _LARGEST * max(height, width))
    for run in range(_RUNS):
        length = (edges[run + 1 :] - edges[run:-1])[::2][: len(starts)]
        even &= np.abs(length - unit) <= _UNEVEN * unit + 0.8
    starts, whole = starts[even], whole[even]
    rows, columns = np.divmod(starts, width + 1)
    middles = columns - 1 + (whole - 1) / 2
    within = middles < width - 1
    return np.asarray(np.column_stack((middles, rows, whole))[within], dtype=np.float64)


_ANGLES: Final = np.linspace(0.0, 2 * np.pi, 24, endpoint=False)
# Through the middle of the disc, the gap, the ring, and the paper around, as parts of the radius.
_RINGS: Final = (0.0, 0.4, 0.8, 1.22)

# Along a ray from the centre, as parts of the radius.
_RAY: Final = np.arange(0.6, 1.32, 0.03)
_LEAST_PAIRS: Final = 5


def _crossings(shape: tuple[int, ...], across: Floats, down: Floats) -> Floats:
    """Return column, row, width and height where runs across and runs down share their middle."""
    height, width = shape
    # Of the runs down that have their middle near a pixel, the number of the last one.
    numbers = np.full((height, width), -1)
    columns = np.rint(down[:, 0]).astype(int)
    rows = np.rint(down[:, 1]).astype(int)
    for right in range(-_NEAR_PX, _NEAR_PX + 1):
        for below in range(-_NEAR_PX, _NEAR_PX + 1):
            numbers[
                np.clip(rows + below, 0, height - 1), np.clip(columns + right, 0, width - 1)
            ] = np.arange(len(down))
    number = numbers[np.rint(across[:, 1]).astype(int), np.rint(across[:, 0]).astype(int)]
    across, down = across[number >= 0], down[number[number >= 0]]
    ratio = across[:, 2] / down[:, 2]
    meet = (ratio > 1 / _SLANTED) & (ratio < _SLANTED)
    return np.column_stack((across[meet, 0], down[meet, 1], across[meet, 2], down[meet, 2]))


def _checked(photo: Grey, crossings: Floats) -> list[Target]:
    """Keep what is dark and light in rings all the way round, one at a place."""
    if not len(crossings):
        return []
    height, width = photo.shape
    x, y, across, down = crossings.T[:, :, None]
    levels = []
    for ring in _RINGS:
        columns = np.clip(np.rint(x + ring * across / 2 * np.cos(_ANGLES)), 0, width - 1)
        rows = np.clip(np.rint(y + ring * down / 2 * np.sin(_ANGLES)), 0, height - 1)
        levels.append(np.sort(photo[rows.astype(int), columns.astype(int)].astype(float), axis=1))
    disc, gap, ring_level, around = levels
    middle, few, many = len(_ANGLES) // 2, len(_ANGLES) // 6, len(_ANGLES) // 3
    paper = np.maximum(1.0, np.maximum(gap[:, middle], around[:, middle]))
    light = np.minimum(gap[:, few], around[:, many])
    contrast = (light - np.maximum(disc[:, middle], ring_level[:, -few])) / paper
    targets: list[Target] = []
    for place in np.argsort(-contrast):
        if contrast[place] < _LEAST_CONTRAST:
            break
        column, row, wide, high = crossings[place]
        target = Target(float(column), float(row), float(wide + high) / 2, float(contrast[place]))
        if _is_apart(target, targets):
            targets.append(target)
    return targets


def _in_full(photo: Grey, target: Target, factor: int) -> Target:
    """Find the centre in the full photo: the middle between opposite outer edges of its ring."""
    x, y = (factor * (place + 0.5) - 0.5 for place in (target.x, target.y))
    radius = factor * target.size / 2
    for _ in range(2):
        reach = radius * _RAY
        points = np.stack(
            (x + np.cos(_ANGLES)[:, None] * reach, y + np.sin(_ANGLES)[:, None] * reach), axis=-1
        )
        levels = levels_at(photo, points)
        dark = levels[:, (_RAY >= 0.65) & (_RAY <= 0.95)].min(axis=1)  # noqa: PLR2004 - the ring
        light = levels[:, _RAY >= 1.0].max(axis=1)
        is_out = (levels > (dark + light)[:, None] / 2) & (_RAY > 0.8)  # noqa: PLR2004 - as above
        edge = np.where(is_out.any(axis=1), reach[is_out.argmax(axis=1)], np.nan)
        half = len(_ANGLES) // 2
        shift = (edge[:half] - edge[half:]) / 2
        known = np.isfinite(shift)
        across, down = _middle(shift[known], _ANGLES[:half][known])
        x, y = x + across, y + down
    return Target(float(x), float(y), 2 * radius, target.contrast)


def _middle(shift: Floats, angles: Floats) -> tuple[float, float]:
    """Solve for the shift of a centre that most of the opposite edges agree on."""
    if len(shift) < _LEAST_PAIRS:
        return 0.0, 0.0
    directions = np.column_stack((np.cos(angles), np.sin(angles)))
    kept = np.ones(len(shift), dtype=bool)
    solved = np.zeros(2)
    for _ in range(3):
        solved = np.linalg.lstsq(directions[kept], shift[kept], rcond=None)[0]
        away = np.abs(shift - directions @ solved)
        kept = away <= max(0.25, 2.0 * float(np.median(away)))
    return float(solved[0]), float(solved[1])
