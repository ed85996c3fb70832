"""Screen and paper draw the same shapes, each read back from what was written."""

import re
import runpy
import sys
from io import BytesIO
from pathlib import Path as FilePath
from xml.etree import ElementTree as ET

import pypdfium2
import pytest
from pypdfium2 import raw

from printables.drawing.canvas import new_canvas
from printables.drawing.inks import APPEARANCES, Ink
from printables.drawing.palette import COLOURS
from printables.drawing.primitives import (
    Anchor,
    Circle,
    Drawing,
    Line,
    Path,
    Polygon,
    Polyline,
    Rect,
    Text,
    flattened,
    group,
)
from printables.drawing.stylesheets import drawing_css, palette_css
from printables.drawing.svg import to_svg
from tests.paper import draw_on

SVG = "{http://www.w3.org/2000/svg}"
POINTS_PER_MM = 72 / 25.4
CSS = FilePath(__file__).parents[2] / "static" / "css"

EVERY_KIND = Drawing(
    100,
    80,
    (
        Rect(10, 10, 30, 20, Ink.FRAME, 2),
        Rect(60, 5, 4, 8, Ink.RIGHT),
        Polygon(((1, 1), (9, 1), (5, 7)), Ink.SPUR),
        group(
            [
                Line((0, 0), (10, 0), Ink.CUT_LINE),
                Circle((5, 5), 2, Ink.FAULT),
                group([Polyline(((0, 0), (4, 1), (8, 0)), Ink.HAIRLINE)], 3, 4, 0.5),
                Text(0, 10, "Altura & más", 4, anchor=Anchor.MIDDLE, bold=True),
            ],
            50,
            20,
            2,
        ),
        Path((10, 50), (((20, 40), (30, 60), (40, 50)), ((40, 60),)), Ink.WOOD),
        Text(10, 75, "x < y", 5),
    ),
    "Every kind",
    "One shape of each kind.",
)


def parsed(svg):
    return ET.fromstring(svg)  # noqa: S314  # our own output, not a stranger's


def pdf_of(*placings, page_mm=(215.9, 279.4)):
    """Write drawings, each as (drawing, x, y, scale), on one page."""
    target = BytesIO()
    canvas = new_canvas(target, page_mm, title="Test", author="Alder Flat", language="en")
    for drawing, x_mm, y_mm, scale in placings:
        draw_on(canvas, drawing, x_mm, y_mm, scale)
    canvas.save()
    return target.getvalue()


def shapes_on_paper(pdf_bytes, page_height_mm):
    """Read each path's box and each text back from a page, in mm down from the upper left."""
    page = pypdfium2.PdfDocument(pdf_bytes)[0]
    text_page = page.get_textpage()
    found = []
    for thing in page.get_objects(max_depth=4):
        if thing.type == raw.FPDF_PAGEOBJ_FORM:
            continue
        matrix = thing.get_matrix()
        form = thing.container
        outer = form.get_matrix() if form else pypdfium2.PdfMatrix()
        if thing.type == raw.FPDF_PAGEOBJ_TEXT:
            x, y = outer.on_point(matrix.e, matrix.f)
            found.append(("text", x / POINTS_PER_MM, page_height_mm - y / POINTS_PER_MM))
            continue
        points = [outer.on_point(*matrix.on_point(*point)) for point in _segment_points(thing)]
        xs = [x / POINTS_PER_MM for x, _ in points]
        ys = [page_height_mm - y / POINTS_PER_MM for _, y in points]
        found.append(("path", min(xs), min(ys), max(xs), max(ys)))
    return found, text_page.get_text_bounded()


def _segment_points(path):
    from ctypes import c_float

    for index in range(raw.FPDFPath_CountSegments(path)):
        segment = raw.FPDFPath_GetPathSegment(path, index)
        x, y = c_float(), c_float()
        raw.FPDFPathSegment_GetPoint(segment, x, y)
        yield x.value, y.value


def shapes_on_screen(svg):
    """Read each element's box back from SVG, its groups' transforms applied."""
    found = []

    def walk(element, x0, y0, scale):
        for child in element:
            tag = child.tag.removeprefix(SVG)
            if tag == "g":
                numbers = [float(n) for n in re.findall(r"-?[\d.]+", child.get("transform"))]
                inner = numbers[2] if len(numbers) == 3 else 1.0
                walk(child, x0 + scale * numbers[0], y0 + scale * numbers[1], scale * inner)
            elif tag not in {"title", "desc"}:
                box = _own_box(tag, child)
                found.append(
                    (
                        "text" if tag == "text" else "path",
                        *(
                            (x0 if index % 2 == 0 else y0) + scale * value
                            for index, value in enumerate(box)
                        ),
                    )
                )

    walk(parsed(svg), 0.0, 0.0, 1.0)
    return found


def _own_box(tag, element):
    def number(name):
        return float(element.get(name))

    match tag:
        case "text":
            return number("x"), number("y")
        case "rect":
            x, y = number("x"), number("y")
            return x, y, x + number("width"), y + number("height")
        case "circle":
            x, y, r = number("cx"), number("cy"), number("r")
            return x - r, y - r, x + r, y + r
        case "line":
            xs, ys = (number("x1"), number("x2")), (number("y1"), number("y2"))
        case "polygon" | "polyline" | "path":
            source = element.get("d") or element.get("points")
            numbers = [float(n) for n in re.findall(r"-?[\d.]+", source)]
            xs, ys = numbers[0::2], numbers[1::2]
    return min(xs), min(ys), max(xs), max(ys)


def test_screen_and_paper_draw_the_same_shapes_in_the_same_places():
    on_screen = shapes_on_screen(to_svg(EVERY_KIND, id_prefix="all"))
    on_paper, _ = shapes_on_paper(pdf_of((EVERY_KIND, 0, 0, 1)), 279.4)
    assert len(on_screen) == len(on_paper) == 9
    for screen, paper in zip(on_screen, on_paper, strict=True):
        assert screen[0] == paper[0]
        if screen[0] == "path":
            assert paper[1:] == pytest.approx(screen[1:], abs=0.002)
        else:
            # The anchor is resolved on paper; the baseline must agree.
            assert paper[2] == pytest.approx(screen[2], abs=0.002)


def test_the_scale_and_place_of_a_drawing_apply_on_paper():
    on_screen = shapes_on_screen(to_svg(EVERY_KIND, id_prefix="all"))
    on_paper, _ = shapes_on_paper(pdf_of((EVERY_KIND, 30, 40, 0.5)), 279.4)
    for screen, paper in zip(on_screen, on_paper, strict=True):
        if screen[0] == "path":
            expected = [
                (30 if index % 2 == 0 else 40) + 0.5 * value
                for index, value in enumerate(screen[1:])
            ]
            assert paper[1:] == pytest.approx(expected, abs=0.002)


def test_texts_are_read_back_from_paper_with_their_accents():
    _, text = shapes_on_paper(pdf_of((EVERY_KIND, 0, 0, 1)), 279.4)
    assert "Altura & más" in text
    assert "x < y" in text


def test_a_text_in_the_middle_is_centred_on_its_point():
    drawing = Drawing(60, 20, (Text(30, 10, "mmm", 6, anchor=Anchor.MIDDLE),), "Middle")
    page = pypdfium2.PdfDocument(pdf_of((drawing, 0, 0, 1)))[0]
    boxes = [page.get_textpage().get_charbox(place) for place in range(3)]
    left, right = boxes[0][0], boxes[-1][2]
    assert (left + right) / 2 / POINTS_PER_MM == pytest.approx(30, abs=0.2)


def test_the_same_drawing_gives_the_same_bytes():
    assert pdf_of((EVERY_KIND, 1, 2, 1)) == pdf_of((EVERY_KIND, 1, 2, 1))


def test_the_pdf_embeds_its_fonts_names_its_language_and_asks_for_full_size():
    pdf = pdf_of((EVERY_KIND, 0, 0, 1))
    assert b"/FontFile2" in pdf
    assert b"Helvetica" not in pdf
    assert b"/PrintScaling /None" in pdf
    assert b"/Lang (en)" in pdf


def test_words_are_escaped_and_ids_start_with_the_prefix():
    drawing = Drawing(5, 5, (Text(0, 3, "<b>&\"'", 2),), "A & <B>", 'Says "no"')
    svg = to_svg(drawing, id_prefix="p1")
    root = parsed(svg)
    assert root.get("role") == "img"
    assert root.get("aria-labelledby") == "p1-title p1-desc"
    assert root.find(f"{SVG}title").text == "A & <B>"
    assert root.find(f"{SVG}desc").text == 'Says "no"'
    assert root.find(f"{SVG}text").text == "<b>&\"'"
    assert root.find(f"{SVG}title").get("id") == "p1-title"


def test_a_drawing_without_description_names_only_its_title():
    svg = to_svg(Drawing(5, 5, (), "Dot"), id_prefix="p")
    assert 'aria-labelledby="p-title"' in svg
    assert "<desc" not in svg


def test_a_decorative_drawing_is_passed_over_by_screen_readers():
    root = parsed(to_svg(EVERY_KIND, id_prefix="p", decorative=True))
    assert root.get("aria-hidden") == "true"
    assert root.get("role") is None
    assert root.find(f"{SVG}title") is None


def test_the_width_on_the_page_keeps_the_shape():
    root = parsed(to_svg(EVERY_KIND, id_prefix="p", width_px=320))
    assert (root.get("width"), root.get("height")) == ("320", "256")


def test_no_inline_style_is_written():
    assert "style=" not in to_svg(EVERY_KIND, id_prefix="p")


@pytest.mark.parametrize("prefix", ["", "1a", 'a"b', "a b"])
def test_a_prefix_that_is_no_id_is_refused(prefix):
    with pytest.raises(ValueError, match="id_prefix"):
        to_svg(EVERY_KIND, id_prefix=prefix)


def test_every_ink_names_colours_of_the_palette():
    assert set(APPEARANCES) == set(Ink)
    for appearance in APPEARANCES.values():
        assert appearance.fill or appearance.stroke
        assert {appearance.fill, appearance.stroke} - {None} <= set(COLOURS)
        assert (appearance.stroke is None) == (appearance.width_mm == 0)


@pytest.mark.parametrize(("name", "written"), [("palette", palette_css), ("drawing", drawing_css)])
def test_the_style_sheets_agree_with_palette_and_inks(name, written):
    # When this fails: python -m printables.drawing.stylesheets NAME > static/css/NAME.css
    assert (CSS / f"{name}.css").read_text(encoding="utf-8") == written()


def test_the_style_sheets_are_written_by_one_command(monkeypatch, capsys):
    monkeypatch.setattr("sys.argv", ["stylesheets", "palette"])
    # A module already imported is run anew on purpose.
    monkeypatch.delitem(sys.modules, "printables.drawing.stylesheets")
    runpy.run_module("printables.drawing.stylesheets", run_name="__main__")
    assert capsys.readouterr().out == palette_css()


def test_every_class_written_has_a_rule():
    css = drawing_css()
    used = set(re.findall(r'class="([^"]+)"', to_svg(EVERY_KIND, id_prefix="p")))
    for name in " ".join(used).split():
        assert f".{name}" in css


def test_groups_are_resolved_to_the_drawings_own_coordinates():
    nested = Drawing(9, 9, (group([group([Circle((1, 1), 1)], 1, 0, 2)], 3, 4, 0.5),), "Nested")
    (placed,) = flattened(nested)
    assert placed.scale == 1.0
    assert placed.shape.centre == (4.5, 5.0)
    assert placed.shape.radius_mm == 1.0
