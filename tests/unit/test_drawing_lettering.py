"""Letters: measures of the embedded font and lines that fit."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from printables.drawing.lettering import (
    balanced,
    largest_size,
    text_lines,
    text_width,
    unknown_letters,
    wrapped,
)
from printables.drawing.primitives import Text


def test_width_grows_with_size_and_weight():
    assert text_width("Guía", 4) == pytest.approx(2 * text_width("Guía", 2))
    assert text_width("Guía", 4, bold=True) > text_width("Guía", 4)


def test_lines_break_at_spaces_and_keep_every_word():
    lines = wrapped("one two three four", text_width("one two", 3), 3)
    assert lines[0] == "one two"
    assert " ".join(lines) == "one two three four"


def test_a_no_break_space_holds_number_and_unit_together():
    assert "11\u00a0in" in wrapped("9\u00a0ft 11\u00a0in", 12, 4, bold=True)


def test_short_texts_break_evenly():
    width = text_width("9 ft 11", 4)
    assert wrapped("9 ft 11 in", width, 4) == ("9 ft 11", "in")
    assert balanced("9 ft 11 in", width, 4) == ("9 ft", "11 in")


def test_an_empty_text_has_no_lines():
    assert wrapped("", 10, 3) == balanced("", 10, 3) == ()


@given(
    st.lists(st.text("abcáñ", min_size=1, max_size=9), max_size=12),
    st.floats(5, 60),
    st.floats(2, 5),
)
def test_even_lines_are_as_few_and_no_wider_than_plain_ones(words, width_mm, size_mm):
    text = " ".join(words)
    plain, even = wrapped(text, width_mm, size_mm), balanced(text, width_mm, size_mm)
    assert len(even) == len(plain)
    assert " ".join(even) == text
    widest_plain = max((text_width(line, size_mm) for line in plain), default=0)
    assert max((text_width(line, size_mm) for line in even), default=0) <= widest_plain + 1e-9


@given(st.text("abc ", max_size=40), st.floats(5, 60))
def test_no_line_of_several_words_is_wider_than_the_room(text, width_mm):
    for line in wrapped(text, width_mm, 3):
        assert " " not in line or text_width(line, 3) <= width_mm


def test_lines_of_a_text_stand_below_each_other():
    first, second = text_lines(Text(1, 5, "one two", 4, bold=True), text_width("one", 4, bold=True))
    assert (first.text, second.text) == ("one", "two")
    assert (first.x_mm, first.y_mm, second.y_mm) == (1, 5, 10)
    assert second.bold


def test_a_line_shrinks_only_as_far_as_it_can_be_read():
    assert largest_size("wide", 100, 4, 3) == 4
    snug = largest_size("wide", 0.9 * text_width("wide", 4), 4, 3)
    assert text_width("wide", snug) == pytest.approx(0.9 * text_width("wide", 4))
    assert largest_size("wide", 1, 4, 3) == 3


def test_letters_of_both_languages_are_in_the_font_and_strange_ones_are_named():
    assert not unknown_letters("¿Qué? ¡Ñandú! áéíóúü ± ≥ ≤ ½ ¾ 1/4 \u00a0 %")
    assert unknown_letters("a → b") == {"→"}
