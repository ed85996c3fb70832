"""Questions on safety and on sick wood, the same under every standard."""

from collections.abc import Callable
from typing import Final

from audits.bank.maker import Dice, Maker, Role
from audits.messages import Message, say
from audits.questions import (
    Draft,
    Option,
    Statement,
)
from audits.standard import Standard
from audits.vocabulary import Method


def _sick_wood(_standard: Standard, _draw: Dice, _method: Method) -> Draft:
    return Draft(
        say("You see canker or fire blight. What do you do?"),
        (
            Statement(say("Mark the tree. Tell the supervisor."), holds=True),
            Statement(say("Cut it out and go on."), holds=False),
            Statement(say("Leave it and say nothing."), holds=False),
            Statement(say("Take the whole tree out."), holds=False),
        ),
        why=say("Dirty shears carry it to the next tree."),
    )


def _asked(stem: Message, right: Message, *wrong: Message) -> tuple[Message, tuple[Option, ...]]:
    return stem, (
        Statement(right, holds=True),
        *(Statement(text, holds=False) for text in wrong),
    )


# One question for a note of `audits.safety`, by the note's key.
_SAFETY_QUESTIONS: Final = {
    "lines_look_up": _asked(
        say("You move a ladder, a pole or a platform. What comes first?"),
        say("Look up for power lines."),
        say("Lift it as high as it goes."),
        say("Trust that all lines are dead."),
        say("Go fast."),
    ),
    "ladder_top_steps": _asked(
        say("A cut is just out of reach. What do you do?"),
        say("Come down and move the ladder."),
        say("Step on the top of the ladder."),
        say("Lean out to the side."),
        say("Step onto a branch."),
    ),
    "platform_gates": _asked(
        say("The platform starts to move. Where are you?"),
        say("Both feet on the floor, gate shut."),
        say("On the rail."),
        say("On the step outside."),
        say("One foot on a branch."),
    ),
    "topping_machine": _asked(
        say("The topping machine runs. Where are you?"),
        say("Far from the blades."),
        say("Close behind it, to see the cut."),
        say("Beside it, to point."),
    ),
    "shears_free_hand": _asked(
        say("You cut with powered shears. Where is your free hand?"),
        say("Away from the blade."),
        say("On the branch, next to the cut."),
        say("At the blade, to guide it."),
    ),
    "shears_partner": _asked(
        say("Your partner's hand is near your cut. What do you do?"),
        say("Wait until the hand is away."),
        say("Cut fast."),
        say("Cut from the other side."),
    ),
    "shears_battery": _asked(
        say("A twig jams the battery shears. What comes first?"),
        say("Take the battery out."),
        say("Pull the twig out by hand."),
        say("Press the trigger again."),
    ),
    "weather_stop": _asked(
        say("You work above the ground. Strong wind comes up. What do you do?"),
        say("Stop and come down."),
        say("Work faster."),
        say("Hold on with one hand."),
    ),
    "spray_posting": _asked(
        say("A spray sign stands at the block. What do you do?"),
        say("Stay out until its time has passed."),
        say("Go in with gloves on."),
        say("Go in and work fast."),
    ),
}
_SHARED_SAFETY: Final = (
    "lines_look_up",
    "shears_free_hand",
    "shears_partner",
    "shears_battery",
    "spray_posting",
)
_METHOD_SAFETY: Final = {
    Method.LADDER: ("ladder_top_steps", "weather_stop"),
    Method.PLATFORM: ("platform_gates", "weather_stop"),
    Method.GROUND: (),
    Method.MACHINE_TOPPED: ("topping_machine",),
}


def _safety(note: str) -> Callable[[Standard, Dice, Method], Draft | None]:
    def make(_standard: Standard, _draw: Dice, _method: Method) -> Draft:
        stem, options = _SAFETY_QUESTIONS[note]
        return Draft(stem, options, note=note)

    return make


def makers_for(method: Method) -> tuple[Maker, ...]:
    """
    Return the makers that fit a way to work.

    Parameters
    ----------
    method : Method
        How the crew works.

    Returns
    -------
    tuple of Maker
        That of sick wood, and those of the method's safety notes.
    """
    return (
        Maker("sick_wood", None, Role.OTHER, _sick_wood),
        *(
            Maker(note, None, Role.SAFETY, _safety(note))
            for note in (*_METHOD_SAFETY[method], *_SHARED_SAFETY)
        ),
    )
