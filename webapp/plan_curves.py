"""The curve of a stage's plan as pages show it: drawn, in words, and as a table."""

from dataclasses import dataclass

from flask_babel import gettext
from markupsafe import Markup

from audits.lot_figures import CurvePoint, StageFigures, curve_points, curve_table
from audits.lot_words import A_ROW, InHundred, promise_sentence, times_of_hundred
from audits.messages import say
from printables.drawing.oc_curve import CurveLabels, CurveMark, oc_curve_drawing
from printables.drawing.svg import to_svg
from webapp.reading import words


@dataclass(frozen=True)
class CurveView:
    """What the macro of a chart takes."""

    drawing: Markup
    title: str
    note: str
    columns: list[str | tuple[str, str]]
    rows: list[tuple[str, str, str]]


def curve_view(
    figures: StageFigures, *, id_prefix: str, title: str, whole: str = A_ROW
) -> CurveView:
    """Draw the curve of a plan with its promised points, and give its figures."""
    reader = words()
    note = reader.say(promise_sentence(figures, whole))
    acceptable, rejectable = figures.acceptable, figures.rejectable
    drawing = oc_curve_drawing(
        [
            (point.fraction, point.chance)
            for point in curve_points(figures.plan, acceptable.lot_size)
        ],
        CurveMark(
            acceptable.fraction,
            acceptable.chance,
            _mark_words(
                gettext("Acceptable"), figures.promise.acceptable_fraction, acceptable.chance
            ),
        ),
        CurveMark(
            rejectable.fraction,
            rejectable.chance,
            _mark_words(
                gettext("Rejectable"), figures.promise.rejectable_fraction, rejectable.chance
            ),
        ),
        CurveLabels(
            title=title,
            description=note,
            upright=gettext("passes ... times in 100"),
            across=gettext("bad trees in 100"),
            hundredths=lambda part: reader.show(InHundred(part)),
        ),
        limit=_limit_mark(figures),
    )
    return CurveView(
        # The drawing layer escapes every text that it writes.
        drawing=Markup(to_svg(drawing, id_prefix=id_prefix)),  # noqa: S704
        title=title,
        note=note,
        columns=[
            gettext("Bad trees of %(trees)s", trees=reader.show(acceptable.lot_size)),
            (gettext("In 100"), "numeric"),
            (gettext("Passes, times in 100"), "numeric"),
        ],
        rows=[_row(point) for point in curve_table(figures)],
    )


def _limit_mark(figures: StageFigures) -> CurveMark | None:
    point = figures.at_limit
    if point is None or figures.limit_percent is None:
        return None
    limit = figures.limit_percent / 100
    return CurveMark(point.fraction, point.chance, _mark_words("AQL", limit, point.chance))


def _mark_words(name: str, fraction: float, chance: float) -> str:
    return words().say(
        say(
            "%(name)s: %(fraction)s in 100, passes %(times)s",
            name=name,
            fraction=InHundred(fraction),
            times=times_of_hundred(chance),
        )
    )


def _row(point: CurvePoint) -> tuple[str, str, str]:
    reader = words()
    return (
        reader.show(point.nonconforming),
        reader.show(InHundred(point.fraction)),
        reader.say(times_of_hundred(point.chance)),
    )
