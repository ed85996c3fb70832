"""Everything that can be printed, in groups: one line of the print desk, and one page, each."""

from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Final

from flask_babel import lazy_gettext

from audits.vocabulary import Role
from printables.document import Document
from webapp.access import CREW_LEADS, OWNERS
from webapp.printing import forms, makers


class Group(StrEnum):
    """A heading of the print desk."""

    CARDS = "cards"
    QUIZZES = "quizzes"
    ROW = "row"
    PEOPLE = "people"
    WALL = "wall"
    PRINTERS = "printers"


GROUP_NAMES: Final = {
    Group.CARDS: lazy_gettext("Cards and gauges"),
    Group.QUIZZES: lazy_gettext("Quizzes"),
    Group.ROW: lazy_gettext("Sheets for the row"),
    Group.PEOPLE: lazy_gettext("Sheets for people"),
    Group.WALL: lazy_gettext("For the wall and the owner"),
    Group.PRINTERS: lazy_gettext("Printers"),
}


@dataclass(frozen=True)
class Offer:
    """
    A thing that can be printed.

    `key` names it in addresses and on the command line. What carries gauges `is_batch`: printing it
    is recorded, so that its scale can be checked. What carries a code for phones `has_code`.
    """

    key: str
    group: Group
    name: Any
    note: Any
    form: type[forms.PaperForm]
    document: Callable[[Any], Document]
    roles: frozenset[Role] = CREW_LEADS
    is_batch: bool = False
    has_code: bool = False

    @property
    def endpoint(self) -> str:
        """The name of its page among the views."""
        return self.key.replace("-", "_")


OFFERS: Final = (
    Offer(
        "cards",
        Group.CARDS,
        lazy_gettext("Pocket cards"),
        lazy_gettext("The stages with this block's numbers; behind them gauges and safety."),
        forms.CardForm,
        makers.cards,
        is_batch=True,
        has_code=True,
    ),
    Offer(
        "gauges",
        Group.CARDS,
        lazy_gettext("Gauge sheet"),
        lazy_gettext("Gauges to true scale, with frames and bars that show whether it was kept."),
        forms.GaugeForm,
        makers.gauges,
        is_batch=True,
    ),
    Offer(
        "quiz",
        Group.QUIZZES,
        lazy_gettext("Quiz"),
        lazy_gettext(
            "Questions from a block's standard, answer sheets, and the key. In words or pictures."
        ),
        forms.QuizForm,
        makers.quiz,
    ),
    Offer(
        "tally",
        Group.ROW,
        lazy_gettext("Tally sheet"),
        lazy_gettext("The drawn trees of an audit, to be scored on paper."),
        forms.TallyForm,
        makers.tally,
    ),
    Offer(
        "rework",
        Group.ROW,
        lazy_gettext("Rework order"),
        lazy_gettext("What goes back, where, and which stage to redo."),
        forms.ReworkForm,
        makers.rework,
    ),
    Offer(
        "model-trees",
        Group.ROW,
        lazy_gettext("Model-tree sheet"),
        lazy_gettext("To try the standard on a few trees, and count, before the crew begins."),
        forms.ModelTreesForm,
        makers.model_trees,
    ),
    Offer(
        "safety",
        Group.ROW,
        lazy_gettext("Safety brief"),
        lazy_gettext("What to say before work with ladders or a platform, and lines to sign."),
        forms.SafetyForm,
        makers.safety,
    ),
    Offer(
        "no-start",
        Group.ROW,
        lazy_gettext("List of who may not start"),
        lazy_gettext("Whose safety brief for ladders or the platform is missing or has lapsed."),
        forms.NoStartForm,
        makers.no_start,
    ),
    Offer(
        "coaching",
        Group.PEOPLE,
        lazy_gettext("Coaching sheet"),
        lazy_gettext("One stage to work on, in pictures, in the worker's language. One page."),
        forms.WorkerForm,
        makers.coaching,
    ),
    Offer(
        "crew",
        Group.PEOPLE,
        lazy_gettext("Crew leader's sheet"),
        lazy_gettext(
            "The crew by stage, what to show and why. In a crew below 5 people without names and "
            "figures."
        ),
        forms.CrewForm,
        makers.crew,
    ),
    Offer(
        "training",
        Group.PEOPLE,
        lazy_gettext("Training record"),
        lazy_gettext("What somebody was taught, when and by whom."),
        forms.WorkerForm,
        makers.training,
    ),
    Offer(
        "certificate",
        Group.PEOPLE,
        lazy_gettext("Certificate of sign-off"),
        lazy_gettext("The stages that somebody has learned, with the rule that was met."),
        forms.CertificateForm,
        makers.certificate,
    ),
    Offer(
        "poster",
        Group.WALL,
        lazy_gettext("Poster of the standard"),
        lazy_gettext("For the wall of the shed, on large paper."),
        forms.PosterForm,
        makers.poster,
        has_code=True,
    ),
    Offer(
        "season",
        Group.WALL,
        lazy_gettext("Season report"),
        lazy_gettext("How lots, stages and hours came out; never a person."),
        forms.SeasonForm,
        makers.season,
        roles=OWNERS,
    ),
    Offer(
        "duplex-test",
        Group.PRINTERS,
        lazy_gettext("Test page for both sides"),
        lazy_gettext("It shows how far a printer's backs lie from its fronts."),
        forms.DuplexTestForm,
        makers.duplex_test,
    ),
)
