"""What the home of learning offers, by who asks."""

from dataclasses import dataclass
from typing import Final

from flask_babel import gettext

from audits.records import Actor
from audits.vocabulary import Role
from webapp.access import crew_lead_of_phone
from webapp.navigation import way_to


@dataclass(frozen=True)
class Entry:
    """A way onward: its name, what it is for, and the shape beside it."""

    name: str
    note: str
    url: str
    shape: str


@dataclass(frozen=True)
class Part:
    """A heading with the ways under it."""

    heading: str
    entries: list[Entry]


_Offered = tuple[str, str, str | None, str]
_ONWARD: Final = "onward"


def ways_of_learning(actor: Actor) -> list[Part]:
    """Return what this person may learn with and look at; parts without a way are left out."""
    offered = _of_worker() if actor.role is Role.WORKER else _of_crew_lead()
    parts = [
        Part(heading, [Entry(name, note, url, shape) for name, note, url, shape in ways if url])
        for heading, ways in offered
    ]
    return [part for part in parts if part.entries]


def _of_worker() -> list[tuple[str, list[_Offered]]]:
    learn: list[_Offered] = [
        (
            gettext("Practise"),
            gettext("Prune drawn trees. You see at once what was right."),
            way_to("practice.page"),
            "begun",
        ),
        (
            gettext("Take a quiz"),
            gettext("10 questions, with pictures."),
            way_to("quizzes.index"),
            "note",
        ),
    ]
    own: list[_Offered] = [
        (
            gettext("My quizzes"),
            gettext("What you took, with the right answers."),
            way_to("quizzes.mine"),
            _ONWARD,
        ),
        (
            gettext("My record"),
            gettext("What you were shown and have learned, and your safety briefs."),
            way_to("learn.mine"),
            _ONWARD,
        ),
    ]
    crew_lead = crew_lead_of_phone()
    if crew_lead is not None:
        own.append(
            (
                gettext("Give the phone back"),
                gettext("When you are through, give it to %(name)s.", name=crew_lead.name),
                way_to("learn.give_back"),
                "back",
            )
        )
    else:
        own.append(
            (
                gettext("Practice, quizzes and the row"),
                gettext("Your practice beside your trees in the row."),
                way_to("learning_rows.mine"),
                _ONWARD,
            )
        )
    return [(gettext("Learn"), learn), (gettext("So far"), own)]


def _of_crew_lead() -> list[tuple[str, list[_Offered]]]:
    beside: list[_Offered] = [
        (
            gettext("Practice trees"),
            gettext("Prune drawn trees, alone or with somebody."),
            way_to("practice.page"),
            _ONWARD,
        ),
        (
            gettext("Quiz"),
            gettext("On this screen with somebody, and the quizzes of each person."),
            way_to("quizzes.index"),
            _ONWARD,
        ),
    ]
    papers: list[_Offered] = [
        (
            gettext("Safety briefs"),
            gettext("Who was briefed, until when, and who may not start."),
            way_to("learn.briefs"),
            _ONWARD,
        ),
        (
            gettext("Training records"),
            gettext("What each person was shown, practised and learned, to print."),
            way_to("learn.records"),
            _ONWARD,
        ),
        (
            gettext("Trainings"),
            gettext("What was shown to whom, and whether it helped."),
            way_to("coaching.trainings"),
            _ONWARD,
        ),
    ]
    teaches: list[_Offered] = [
        (
            gettext("From learning to the row"),
            gettext("Whether practice and quizzes show on audited trees."),
            way_to("learning_rows.index"),
            _ONWARD,
        ),
        (
            gettext("Quiz questions"),
            gettext("Which questions mislead, in which language; retire them."),
            way_to("items.index"),
            _ONWARD,
        ),
        (
            gettext("Gallery of practice trees"),
            gettext("The drawn trees and their figures beside published ones."),
            way_to("gallery.index"),
            _ONWARD,
        ),
    ]
    return [
        (gettext("Learn with somebody"), beside),
        (gettext("Briefs and records"), papers),
        (gettext("Does it teach?"), teaches),
    ]
