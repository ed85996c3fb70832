"""Lengths read and written the way an orchard writes them."""

import dataclasses
import math

import pytest

from audits.errors import AuditError
from audits.messages import ENGLISH, Units
from audits.units import (
    Length,
    LengthError,
    LengthKind,
    LengthUnit,
    parse_length,
    write_length,
)

METRIC = dataclasses.replace(ENGLISH, units=Units.METRIC)
METRIC_SPANISH = dataclasses.replace(METRIC, language="es", locale="es")
HEIGHT, DIAMETER = LengthKind.HEIGHT, LengthKind.DIAMETER


@pytest.mark.parametrize(
    ("mm", "kind", "imperial", "metric"),
    [
        (3017.52, HEIGHT, "9 ft 11 in", "3.02 m"),
        (3352.8, HEIGHT, "11 ft", "3.35 m"),
        (3500.0, HEIGHT, "11 ft 6 in", "3.50 m"),
        (914.4, HEIGHT, "3 ft", "91 cm"),
        (660.0, HEIGHT, "26 in", "66 cm"),
        (150.0, HEIGHT, "6 in", "15 cm"),
        (152.4, HEIGHT, "6 in", "15 cm"),
        (25.0, HEIGHT, "1 in", "2.5 cm"),
        (12.7, HEIGHT, "1/2 in", "1.3 cm"),
        (0.0, HEIGHT, "0 in", "0 cm"),
        (19.05, DIAMETER, "3/4 in", "19 mm"),
        (19.0, DIAMETER, "3/4 in", "19 mm"),
        (38.1, DIAMETER, "1 1/2 in", "38 mm"),
        (25.4, DIAMETER, "1 in", "25 mm"),
        (6.5, DIAMETER, "1/4 in", "6.5 mm"),
        (0.0, DIAMETER, "0 in", "0 mm"),
    ],
)
def test_lengths_read_in_the_units_of_the_farm(mm, kind, imperial, metric):
    assert ENGLISH.show(Length(mm, kind)) == imperial
    assert METRIC.show(Length(mm, kind)) == metric


def test_inches_that_round_up_to_a_foot_become_a_foot():
    # 11.99 ft is 11 ft 11.9 in.
    assert ENGLISH.show(Length(11.99 * 304.8)) == "12 ft"


def test_centimetres_that_round_up_to_a_metre_become_a_metre():
    assert METRIC.show(Length(997)) == "1.00 m"


def test_the_decimal_mark_is_the_readers():
    assert METRIC_SPANISH.show(Length(3017.52)) == "3,02 m"


def test_unit_words_can_be_translated():
    spanish = dataclasses.replace(
        ENGLISH,
        gettext={"%(feet)s ft %(inches)s in": "%(feet)s pies %(inches)s pulg"}.__getitem__,
    )
    assert spanish.show(Length(3017.52)) == "9 pies 11 pulg"


def test_a_distance_downwards_keeps_its_sign_unless_it_rounds_to_nothing():
    assert ENGLISH.show(Length(-152.4)) == "-6 in"
    assert METRIC.show(Length(-0.01)) == "0 cm"


@pytest.mark.parametrize("mm", [math.nan, math.inf, -math.inf])
def test_a_length_is_a_finite_number(mm):
    with pytest.raises(ValueError, match="finite"):
        Length(mm)


@pytest.mark.parametrize(
    ("text", "mm"),
    [
        ("11 ft", 3352.8),
        ("11ft", 3352.8),
        ("11 Ft.", 3352.8),
        ("11 feet", 3352.8),
        ("11'", 3352.8),
        ("11 pies", 3352.8),
        ("1 pie", 304.8),
        ("9'11\"", 3022.6),
        ("9' 11\"", 3022.6),
        ("9'11''", 3022.6),
        ("9\u203211\u2033", 3022.6),
        ("9\u201911\u201d", 3022.6),
        ("9 ft 11 in", 3022.6),
        ("9ft11in", 3022.6),
        ("9 pies 11 pulgadas", 3022.6),
        ("9'11 1/2\"", 3035.3),
        ("9'11\u00bd\"", 3035.3),
        ("9 ft 11.5 in", 3035.3),
        ("9'0\"", 2743.2),
        ("9.9 ft", 3017.52),
        ("9,9 pies", 3017.52),
        ("3 1/2 ft", 1066.8),
        ("3/4 in", 19.05),
        ('3/4"', 19.05),
        ('\u00be"', 19.05),
        ("3\u20444 in", 19.05),
        ("1 1/2 in", 38.1),
        ("1\u00bd in", 38.1),
        ("118 13/16 in", 3017.84),
        ("6 pulgadas", 152.4),
        ("1 pulgada", 25.4),
        ("6 pulg.", 152.4),
        (".5 in", 12.7),
        ("3.35 m", 3350.0),
        ("3,35 m", 3350.0),
        ("3.350 m", 3350.0),
        ("3,350 m", 3350.0),
        ("3.01752 m", 3017.52),
        ("3 metros", 3000.0),
        ("302 cm", 3020.0),
        ("15.24 cm", 152.4),
        ("19 mm", 19.0),
        ("19\u00a0mm", 19.0),
        ("  19,5   mm ", 19.5),
        ("0.01 mm", 0.01),
        ("20 m", 20000.0),
    ],
)
@pytest.mark.parametrize("units", list(Units))
def test_lengths_are_read_whatever_units_the_farm_uses(text, mm, units):
    assert parse_length(text, units) == mm


@pytest.mark.parametrize(
    "text",
    [
        "11",
        "9.9",
        "3/4",
        "-3 m",
        "+3 m",
        "nan",
        "nan m",
        "inf ft",
        "1e3 mm",
        "3..5 m",
        "3,5,1 m",
        "1,234.5 mm",
        "3 yd",
        "m",
        "ft",
        "'",
        "eleven ft",
        "11 ft 3",
        "9'12\"",
        "9.5 ft 3 in",
        "9 in 3 ft",
        "3 m 2 cm",
        "9 ft -1 in",
        "4/4 in",
        "5/4 in",
        "1/3 in",
        "1/0 in",
        "1/2 m",
        "3/4 mm",
        "11 ft 6 in 2 in",
        "11 ft; drop table",
        "\u0661\u0661 ft",
        "1234567 mm",
        "9" * 400 + " ft",
        " " * 400 + "9 ft" + "9" * 50,
    ],
)
@pytest.mark.parametrize("units", list(Units))
def test_anything_else_is_refused(text, units):
    with pytest.raises(LengthError):
        parse_length(text, units)


def test_the_sentence_names_the_text_and_shows_how_to_write_it():
    with pytest.raises(LengthError) as caught:
        parse_length("high", Units.IMPERIAL)
    assert str(caught.value) == (
        'Cannot read "high" as a length. Write it like 9 ft 11 in, 6 in or 9.9 ft.'
    )
    with pytest.raises(LengthError) as caught:
        parse_length("thick", Units.METRIC, kind=DIAMETER)
    assert str(caught.value) == 'Cannot read "thick" as a diameter. Write it like 19 mm.'
    assert isinstance(caught.value, AuditError)


def test_every_example_in_an_error_can_itself_be_read():
    for units in Units:
        for kind in LengthKind:
            with pytest.raises(LengthError) as caught:
                parse_length("?", units, kind=kind)
            examples = str(caught.value).split("like ")[1].rstrip(".")
            for example in examples.replace(" or ", ", ").split(", "):
                assert parse_length(example, units, kind=kind) > 0


def test_a_long_text_is_named_by_its_beginning():
    with pytest.raises(LengthError) as caught:
        parse_length("x" * 5000, Units.METRIC)
    assert len(str(caught.value)) < 120


def test_percent_signs_in_the_text_do_no_harm():
    with pytest.raises(LengthError, match=r"50 %\(text\)s"):
        parse_length("50 %(text)s", Units.METRIC)


@pytest.mark.parametrize("text", ["", "   ", "\t"])
def test_an_empty_field_is_told_to_be_filled_in(text):
    with pytest.raises(LengthError, match="Fill in this length"):
        parse_length(text, Units.IMPERIAL)


@pytest.mark.parametrize("text", ["1,234 mm", "1.234 mm", "1,234 cm", "19.125 mm"])
def test_what_may_be_a_thousands_mark_is_refused(text):
    with pytest.raises(LengthError, match="two ways"):
        parse_length(text, Units.METRIC)


def test_zero_is_taken_only_where_it_makes_sense():
    assert parse_length("0 in", Units.IMPERIAL, zero_allowed=True) == 0.0
    for text in ("0 in", "0 m", "0'0\"", "0.001 mm", "0.00001 in"):
        with pytest.raises(LengthError):
            parse_length(text, Units.IMPERIAL)


def test_a_length_of_the_wrong_unit_is_too_long():
    with pytest.raises(LengthError, match=r'"3350 m" is too long: at most 65 ft 7 in\.'):
        parse_length("3350 m", Units.IMPERIAL)
    assert parse_length("100 mm", Units.METRIC, longest_mm=100) == 100.0
    with pytest.raises(LengthError, match="too long"):
        parse_length("100.01 mm", Units.METRIC, longest_mm=100)


@pytest.mark.parametrize(
    ("text", "unit", "mm"),
    [
        ("11", LengthUnit.FOOT, 3352.8),
        ("3/4", LengthUnit.INCH, 19.05),
        ("3,35", LengthUnit.METRE, 3350.0),
        ("302", LengthUnit.CENTIMETRE, 3020.0),
        ("19", LengthUnit.MILLIMETRE, 19.0),
    ],
)
def test_a_bare_number_is_read_only_when_told_its_unit(text, unit, mm):
    assert parse_length(text, Units.METRIC, bare_unit=unit) == mm


def test_a_written_unit_outweighs_the_default_one():
    assert parse_length("19 mm", Units.IMPERIAL, bare_unit=LengthUnit.INCH) == 19.0


@pytest.mark.parametrize(
    ("mm", "kind", "imperial", "metric"),
    [
        (3352.8, HEIGHT, "11 ft", "3.3528 m"),
        (3022.6, HEIGHT, "9 ft 11 in", "3.0226 m"),
        (3035.3, HEIGHT, "9 ft 11 1/2 in", "3.0353 m"),
        (3017.52, HEIGHT, "9.9 ft", "3.01752 m"),
        (152.4, HEIGHT, "6 in", "15.24 cm"),
        (150.0, HEIGHT, "5.9055 in", "15 cm"),
        (152.41, HEIGHT, "6.0004 in", "152.41 mm"),
        (0.0, HEIGHT, "0 in", "0 cm"),
        (19.05, DIAMETER, "3/4 in", "19.05 mm"),
        (38.1, DIAMETER, "1 1/2 in", "38.1 mm"),
        (19.0, DIAMETER, "0.748 in", "19 mm"),
        # A hundredth of a foot, which nobody reads off a gauge.
        (3.05, DIAMETER, "0.1201 in", "3.05 mm"),
    ],
)
def test_form_fields_keep_every_hundredth_of_a_millimetre(mm, kind, imperial, metric):
    assert write_length(mm, Units.IMPERIAL, kind=kind) == imperial
    assert write_length(mm, Units.METRIC, kind=kind) == metric


def test_form_fields_use_the_decimal_mark_of_the_region():
    assert write_length(3017.52, Units.METRIC, locale="es") == "3,01752 m"
    assert write_length(3017.52, Units.METRIC, locale="es_US") == "3.01752 m"


@pytest.mark.parametrize("mm", [-1.0, math.nan, math.inf])
def test_only_a_length_can_be_written(mm):
    with pytest.raises(ValueError, match="mm must be"):
        write_length(mm, Units.METRIC)
