"""From millimetres on a page to pixels of a photo: four targets, then how the paper bends."""

from dataclasses import dataclass
from functools import cached_property
from itertools import combinations
from typing import Final

import numpy as np
import numpy.typing as npt
from PIL import Image

from printables.paper_code import STATION_RADIUS_MM, TARGET_RADIUS_MM, stations, targets
from printables.reading.fiducials import Target
from printables.reading.photo import Floats, Grey, levels_at

# Pixels a mm of the flattened page.
FLAT_PX: Final = 5
# The grid on which the photo is flattened.
_GRID_MM: Final = 16.0

# Targets that are looked at together; a page has four.
_MOST_TARGETS: Final = 12
_CORNERS: Final = 4
# A side of a page between its targets, in mm, with room for perspective.
_SIDES_MM: Final = (110.0, 420.0)
_MOST_UNEVEN: Final = 2.2

# Stations are looked for so far around their place, in steps.
_REACH_MM: Final = 6.8
_STEP_MM: Final = 0.34
_LEAST_STATION: Final = 0.12
# How far a station may be from a smooth curve through its edge.
_ASTRAY_MM: Final = 0.5


def quads(found: list[Target]) -> list[tuple[Target, ...]]:
    """
    Return every four targets that may be a page's corners.

    Parameters
    ----------
    found : list of Target
        Targets on a photo, the clearest first.

    Returns
    -------
    list of tuple of Target
        Corners clockwise as they are seen, the most likely first.
    """
    likely = []
    for four in combinations(found[:_MOST_TARGETS], _CORNERS):
        x, y = (np.array([getattr(target, axis) for target in four]) for axis in "xy")
        order = np.argsort(np.arctan2(y - y.mean(), x - x.mean()))
        corners = tuple(four[place] for place in order)
        doubt = _doubt(corners)
        if doubt is not None:
            likely.append((doubt, corners))
    return [corners for _, corners in sorted(likely, key=lambda pair: pair[0])]


def _doubt(corners: tuple[Target, ...]) -> float | None:
    """How unlike a page four corners are; None if they cannot be one."""
    points = np.array([(target.x, target.y) for target in corners])
    sides = np.roll(points, -1, axis=0) - points
    turned = np.roll(sides, -1, axis=0)
    turns = sides[:, 0] * turned[:, 1] - sides[:, 1] * turned[:, 0]
    lengths = np.hypot(sides[:, 0], sides[:, 1])
    sizes = np.array([target.size for target in corners])
    if (turns <= 0).any() or sizes.max() > _MOST_UNEVEN * sizes.min():
        return None
    # By the size of their own targets the sides have about the length of a page's.
    by_targets = 2 * TARGET_RADIUS_MM * lengths / ((sizes + np.roll(sizes, -1)) / 2)
    if by_targets.min() < _SIDES_MM[0] or by_targets.max() > _SIDES_MM[1]:
        return None
    opposite = np.abs(np.log(lengths[:2] / lengths[2:]))
    if opposite.max() > np.log(_MOST_UNEVEN):
        return None
    return float(opposite.sum() + np.log(sizes.max() / sizes.min()))


def homography(page: Floats, photo: Floats) -> Floats:
    """
    Return the perspective that takes four points to four others.

    Parameters
    ----------
    page, photo : numpy.ndarray
        Four points each, one a row.

    Returns
    -------
    numpy.ndarray
        A matrix of 3 x 3 for points with a third coordinate of 1.
    """
    rows = []
    for (x, y), (u, v) in zip(page, photo, strict=True):
        rows.append((x, y, 1, 0, 0, 0, -u * x, -u * y))
        rows.append((0, 0, 0, x, y, 1, -v * x, -v * y))
    solved = np.linalg.solve(np.array(rows, dtype=float), photo.ravel())
    return np.append(solved, 1.0).reshape(3, 3)


def seen_through(matrix: Floats, points: Floats) -> Floats:
    """
    Take points through a perspective.

    Parameters
    ----------
    matrix : numpy.ndarray
        The perspective.
    points : numpy.ndarray
        Points in its last axis.

    Returns
    -------
    numpy.ndarray
        As many points.
    """
    placed = points @ matrix[:, :2].T + matrix[:, 2]
    return np.asarray(placed[..., :2] / placed[..., 2:])


@dataclass(frozen=True)
class Placement:
    """
    A page's place on a photo.

    Parameters
    ----------
    size_mm : tuple of float
        Width and height of the page.
    corners : numpy.ndarray
        Centres of the targets on the photo: upper left, upper right, lower right, lower left of
        the page.
    bends : tuple of numpy.ndarray
        For each edge rows of the share of the way along it, clockwise, and of how far across and
        down in mm the paper is from where four corners alone would have it.
    seen : int
        Stations that were found.
    """

    size_mm: tuple[float, float]
    corners: Floats
    bends: tuple[Floats, ...] = ()
    seen: int = 0

    @cached_property
    def _matrix(self) -> Floats:
        return homography(np.array(targets(self.size_mm)), self.corners)

    def on_photo(self, points: Floats) -> Floats:
        """
        Return where points of the page lie on the photo.

        Parameters
        ----------
        points : numpy.ndarray
            Across and down in mm, in the last axis.

        Returns
        -------
        numpy.ndarray
            Column and row in pixels.
        """
        return seen_through(self._matrix, points + self._bent(points))

    def _bent(self, points: Floats) -> Floats:
        """Bend the inside as the edges around it (Coons 1967)."""
        if not self.bends:
            return np.zeros_like(points)
        (left, top), _, (right, bottom), _ = targets(self.size_mm)
        u = np.clip((points[..., 0] - left) / (right - left), 0.0, 1.0)
        v = np.clip((points[..., 1] - top) / (bottom - top), 0.0, 1.0)
        upper, far, lower, near = self.bends
        bent = [
            (1 - v) * np.interp(u, upper[:, 0], upper[:, axis])
            + v * np.interp(1 - u, lower[:, 0], lower[:, axis])
            + (1 - u) * np.interp(1 - v, near[:, 0], near[:, axis])
            + u * np.interp(v, far[:, 0], far[:, axis])
            for axis in (1, 2)
        ]
        return np.stack(bent, axis=-1)

    def flattened(self, photo: Grey) -> Grey:
        """
        Return the page as if it lay flat and upright.

        Parameters
        ----------
        photo : numpy.ndarray
            The photo in grey.

        Returns
        -------
        numpy.ndarray
            The page at `FLAT_PX` pixels a mm; pixel 0 begins at its edge.
        """
        width, height = (round(side * FLAT_PX) for side in self.size_mm)
        step = round(_GRID_MM * FLAT_PX)
        columns = np.append(np.arange(0, width, step), width)
        rows = np.append(np.arange(0, height, step), height)
        grid = np.stack(np.meshgrid(columns, rows), axis=-1) / FLAT_PX
        # Pillow's corners lie at the edges of pixels, photos here at their middles.
        places = self.on_photo(grid) + 0.5
        mesh = [
            (
                (int(columns[c]), int(rows[r]), int(columns[c + 1]), int(rows[r + 1])),
                tuple(
                    places[[r, r + 1, r + 1, r], [c, c, c + 1, c + 1]].ravel().tolist(),
                ),
            )
            for r in range(len(rows) - 1)
            for c in range(len(columns) - 1)
        ]
        flat = Image.fromarray(photo).transform(
            (width, height), Image.Transform.MESH, mesh, Image.Resampling.BILINEAR, fillcolor=128
        )
        return np.asarray(flat)


def with_bends(photo: Grey, placement: Placement) -> Placement:
    """
    Find the stations of a page and bend its edges through them.

    Parameters
    ----------
    photo : numpy.ndarray
        The photo in grey.
    placement : Placement
        The page by its targets alone.

    Returns
    -------
    Placement
        The page with its edges bent.
    """
    edges = stations(placement.size_mm)
    places = np.array([place for edge in edges for place in edge])
    offsets, clear = _offsets(photo, placement, places)
    bends = []
    seen = 0
    start = 0
    for edge in edges:
        stop = start + len(edge)
        share = np.arange(1, len(edge) + 1) / (len(edge) + 1)
        kept = _smooth(share, offsets[start:stop], clear[start:stop])
        seen += int(kept.sum())
        inner = np.column_stack((share[kept], offsets[start:stop][kept]))
        bends.append(np.vstack(((0.0, 0.0, 0.0), inner, (1.0, 0.0, 0.0))))
        start = stop
    return Placement(placement.size_mm, placement.corners, tuple(bends), seen)


def _offsets(
    photo: Grey, placement: Placement, places: Floats
) -> tuple[Floats, npt.NDArray[np.bool_]]:
    """Return how far from their places stations lie, in mm, and which of them are clear."""
    ticks = np.arange(-_REACH_MM, _REACH_MM + _STEP_MM / 2, _STEP_MM)
    around = np.stack(np.meshgrid(ticks, ticks), axis=-1)
    points = places[:, None, None, :] + around
    levels = levels_at(photo, placement.on_photo(points))
    half = round(0.85 * STATION_RADIUS_MM / _STEP_MM)
    wide = round(2.0 * STATION_RADIUS_MM / _STEP_MM)
    within, surrounding = _box_means(levels, half, wide), _box_means(levels, wide, wide)
    inner, outer = (2 * half + 1) ** 2, (2 * wide + 1) ** 2
    ring = (surrounding * outer - within * inner) / (outer - inner)
    score = (ring - within) / np.maximum(ring, 1.0)
    flat = score.reshape(len(places), -1)
    best = flat.argmax(axis=1)
    rows, columns = np.divmod(best, score.shape[2])
    clear = flat.max(axis=1) >= _LEAST_STATION
    # The middle of the dark, in a window around the best place.
    reach = half + 2
    rows, columns = rows + wide, columns + wide
    window = np.arange(-reach, reach + 1)
    patch = levels[
        np.arange(len(places))[:, None, None],
        rows[:, None, None] + window[:, None],
        columns[:, None, None] + window,
    ]
    light = np.percentile(patch, 75, axis=(1, 2), keepdims=True)
    dark = np.clip(light - patch, 0, None)
    dark = np.where(dark > 0.5 * dark.max(axis=(1, 2), keepdims=True), dark, 0.0)
    total = np.maximum(dark.sum(axis=(1, 2)), 1e-9)
    across = ticks[columns] + _STEP_MM * (dark * window).sum(axis=(1, 2)) / total
    down = ticks[rows] + _STEP_MM * (dark * window[:, None]).sum(axis=(1, 2)) / total
    return np.column_stack((across, down)), clear


def _box_means(levels: Floats, half: int, edge: int) -> Floats:
    """Means of squares around each place that is at least `edge` inside."""
    sums = np.zeros((levels.shape[0], levels.shape[1] + 1, levels.shape[2] + 1))
    sums[:, 1:, 1:] = levels.cumsum(axis=1).cumsum(axis=2)
    side = 2 * half + 1
    low = edge - half
    count = levels.shape[1] - 2 * edge
    first = slice(low, low + count)
    last = slice(low + side, low + side + count)
    total = (
        sums[:, last, last] - sums[:, first, last] - sums[:, last, first] + sums[:, first, first]
    )
    return np.asarray(total / side**2)


def _smooth(share: Floats, offsets: Floats, clear: npt.NDArray[np.bool_]) -> npt.NDArray[np.bool_]:
    """Which stations lie on a smooth curve that ends in the two targets."""
    kept = clear.copy()
    basis = np.column_stack([share * (1 - share) * share**power for power in range(4)])
    for _ in range(len(share)):
        if kept.sum() <= basis.shape[1]:
            # Too few to tell which one is wrong: only small bends are believed.
            return np.asarray(kept & (np.hypot(offsets[:, 0], offsets[:, 1]) < _ASTRAY_MM))
        solved = np.linalg.lstsq(basis[kept], offsets[kept], rcond=None)[0]
        away = np.hypot(*(offsets - basis @ solved).T)
        worst = int(np.where(kept, away, -1.0).argmax())
        if away[worst] <= _ASTRAY_MM:
            break
        kept[worst] = False
    return kept
