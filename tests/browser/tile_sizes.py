"""
How large the tiles of a tree are and where they stand, measured in the page.

Sizes are in CSS pixels; on a phone of about 460 pixels an inch one is 0.166 mm.
"""

from itertools import pairwise

SMALL, TALL, LARGE = (360, 640), (390, 844), (412, 915)
LEAST_TILE_HEIGHT = {SMALL: 88, TALL: 112, LARGE: 112}
LEAST_TILE_WIDTH = 60
LEAST_GAP = 12
LEAST_OTHER_TARGET = 60

MEASURE = """() => {
    const box = (element) => {
        const { left, top, right, bottom, width, height } = element.getBoundingClientRect();
        return { left, top, right, bottom, width, height, words: element.textContent.trim() };
    };
    const isSeen = (element) => element.checkVisibility() && element.getClientRects().length > 0;
    const rows = [...document.querySelectorAll(".tile-row")].map((row) =>
        [...row.querySelectorAll(".tile-face")].map(box));
    const names = [...document.querySelectorAll(".fault-names .tile-face")].filter(isSeen).map(box);
    // A label is pressed as a whole, with the box or the entry in it.
    const entry = "input:not([type=hidden], label input)";
    const pressed = `a[href], button, summary, select, textarea, label, ${entry}`;
    return {
        rows,
        names,
        pressed: [...document.querySelectorAll(pressed)].filter(isSeen).map(box),
        spilled: [...document.querySelectorAll(".tile-face")].filter(isSeen).filter((face) =>
            face.scrollWidth > face.clientWidth + 1 || face.scrollHeight > face.clientHeight + 1
        ).map((face) => face.textContent.trim()),
        width: document.documentElement.clientWidth,
        height: window.innerHeight,
    };
}"""


def assert_tiles_fit(measured, size):
    """Hold every tile against its least size, its gaps and the edges of the screen."""
    tiles = [tile for row in measured["rows"] for tile in row]
    width, height = size
    for tile in tiles:
        assert tile["height"] >= LEAST_TILE_HEIGHT[size], f"too low: {tile}"
        assert tile["width"] >= LEAST_TILE_WIDTH, f"too narrow: {tile}"
        assert tile["left"] >= 0, f"off the screen: {tile}"
        assert tile["right"] <= width, f"off the screen: {tile}"
        assert tile["bottom"] <= height, f"below the screen: {tile}"
        assert tile["top"] >= height / 3 - 0.5, f"in the top third: {tile}"
    assert not measured["spilled"], f"words spill out of {measured['spilled']}"
    for row in measured["rows"]:
        assert len({round(tile["top"]) for tile in row}) == 1, "a row of tiles breaks in two"
        for left, right in pairwise(row):
            assert right["left"] - left["right"] >= LEAST_GAP - 0.01, f"too close: {left} {right}"
    for above, below in pairwise(measured["rows"]):
        gap = min(tile["top"] for tile in below) - max(tile["bottom"] for tile in above)
        assert gap >= LEAST_GAP - 0.01, f"too close: {above[0]} {below[0]}"


def in_the_top_third(measured, size):
    """Return the words of everything in the top third that can be pressed."""
    return [target["words"] for target in measured["pressed"] if target["top"] < size[1] / 3 - 0.5]
