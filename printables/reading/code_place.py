"""The cells of a page's code, found on the flattened page by its three finder patterns."""

from typing import Final

import numpy as np
import numpy.typing as npt

from printables.paper_code import CELL_MM, CODE_CELLS, code_corner
from printables.reading.code import code_text
from printables.reading.perspective import FLAT_PX
from printables.reading.photo import Floats, Grey, levels_at

_FINDER_CELLS: Final = 7
# How far from its place a finder pattern may be, after the paper's bends are known.
_REACH_MM: Final = 1.6
_STEP_MM: Final = 0.2
# A finder pattern is where cells and pattern agree at least so well (correlation).
_LEAST_AGREEMENT: Final = 0.45
# Cells around one that tell what is dark and what is light there.
_AROUND_CELLS: Final = 3
_BLUR_SHARES: Final = (0.0, 0.4, 0.8, 1.3, 2.0)


def text_on_page(flat: Grey, size_mm: tuple[float, float]) -> str | None:
    """
    Read the code of a flattened page.

    Parameters
    ----------
    flat : numpy.ndarray
        The page at `FLAT_PX` pixels a mm.
    size_mm : tuple of float
        Its width and height.

    Returns
    -------
    str or None
        What the code says; None if there is none in its place or too much of it is wrong.
    """
    left, top = code_corner(size_mm)
    far = CODE_CELLS - _FINDER_CELLS
    finders = np.array([(0, 0), (far, 0), (0, far)], dtype=float)
    offsets, agreement = _finder_offsets(flat, np.array((left, top)) + CELL_MM * finders)
    if agreement < _LEAST_AGREEMENT:
        return None
    middles = (np.arange(CODE_CELLS) + 0.5) * CELL_MM
    x, y = np.meshgrid(middles, middles)
    half = _FINDER_CELLS * CELL_MM / 2
    u, v = ((place - half) / (far * CELL_MM) for place in (x, y))
    shift = (
        offsets[0]
        + u[..., None] * (offsets[1] - offsets[0])
        + v[..., None] * (offsets[2] - offsets[0])
    )
    places = np.stack((left + x, top + y), axis=-1) + shift
    levels = _means(flat, places)
    # A blurred cell has some of its neighbours in it, which is taken off again, more each time.
    for share in _BLUR_SHARES:
        sharp = levels + share * (levels - _neighbours(levels))
        text = code_text((sharp < _local_middle(sharp)).tolist())
        if text is not None:
            return text
    return None


def _neighbours(levels: Floats) -> Floats:
    padded = np.pad(levels, 1, mode="edge")
    sides = padded[:-2, 1:-1] + padded[2:, 1:-1] + padded[1:-1, :-2] + padded[1:-1, 2:]
    return np.asarray(sides / 4)


def _pattern() -> Floats:
    """Return a finder pattern with the light cells around it: 1 where dark, -1 where light."""
    cells = np.arange(-1, _FINDER_CELLS + 1) - _FINDER_CELLS // 2
    rings = np.maximum(np.abs(cells)[:, None], np.abs(cells))
    return np.asarray(np.where((rings <= 1) | (rings == _FINDER_CELLS // 2), 1.0, -1.0))


def _finder_offsets(flat: Grey, corners: Floats) -> tuple[Floats, float]:
    """Return how far finder patterns are from their places, and how well the worst agrees."""
    pattern = _pattern()
    pattern -= pattern.mean()
    ticks = np.arange(-_REACH_MM, _REACH_MM + _STEP_MM / 2, _STEP_MM)
    around = np.stack(np.meshgrid(ticks, ticks), axis=-1).reshape(-1, 2)
    cells = (np.arange(-1, _FINDER_CELLS + 1) + 0.5) * CELL_MM
    grid = np.stack(np.meshgrid(cells, cells), axis=-1)
    places = corners[:, None, None, None, :] + around[None, :, None, None, :] + grid
    levels = levels_at(flat, places * FLAT_PX - 0.5)
    levels = levels - levels.mean(axis=(2, 3), keepdims=True)
    spread = np.sqrt((levels**2).sum(axis=(2, 3)) * (pattern**2).sum()) + 1e-6
    agreement = -(levels * pattern).sum(axis=(2, 3)) / spread
    best = agreement.argmax(axis=1)
    return around[best], float(agreement.max(axis=1).min())


def _means(flat: Grey, places: Floats) -> Floats:
    """Mean brightness of the middle of cells."""
    nearby = np.array([(x, y) for x in (-0.2, 0.0, 0.2) for y in (-0.2, 0.0, 0.2)]) * CELL_MM
    levels = levels_at(flat, (places[..., None, :] + nearby) * FLAT_PX - 0.5)
    return np.asarray(levels.mean(axis=-1))


def _local_middle(levels: Floats) -> Floats:
    """Return the brightness between dark and light around each cell, so that a shadow may fall."""
    padded = np.pad(levels, _AROUND_CELLS, mode="edge")
    windows: npt.NDArray[np.float64] = np.lib.stride_tricks.sliding_window_view(
        padded, (2 * _AROUND_CELLS + 1, 2 * _AROUND_CELLS + 1)
    )
    low, high = np.percentile(windows, (12, 88), axis=(2, 3))
    return np.asarray((low + high) / 2)
