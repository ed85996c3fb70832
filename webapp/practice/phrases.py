"""Everything that the practice page says of itself, by key, in every language."""

from typing import Final

from audits.messages import Words, mark
from audits.vocabulary import STAGE_NAMES
from webapp.field.phrases_screens import PHRASES_SCREENS

# What the page in the row says too, in the same words.
_SHARED: Final = (
    "app.new_page",
    "app.take_new_page",
    "kept.nothing",
    "kept.here",
    "kept.sent",
    "kept.offline",
    "lots.store_full",
    "sent.send_now",
)

OWN_PHRASES: Final[dict[str, str]] = {
    "practice.title": mark("Practise pruning"),
    "practice.what": mark("Prune a drawn tree, then see what was right and why."),
    "practice.looking": mark("One moment"),
    "practice.who": mark("Who practises"),
    "practice.block": mark("Block"),
    "practice.start": mark("Start"),
    "practice.loading": mark("The trees are coming"),
    "practice.stop": mark("Exit"),
    "practice.to_pages": mark("Pages"),
    "practice.signed_out": mark("Nobody is signed in on this phone. What was done here is kept."),
    "practice.sign_in": mark("Sign in"),
    "practice.nothing_here": mark(
        "No trees are on this phone yet. Open this page once where there is signal."
    ),
    "practice.no_blocks": mark("No block has a standard yet, so there is nothing to practise."),
    "practice.no_learners": mark("There is no worker to practise. Add one under Crews."),
    "practice.not_kept": mark("The phone could not keep this. Free some space, then press again."),
    "practice.keyboard": mark("In the picture: arrow keys move, Enter cuts, U takes back."),
    "level.one": mark("One stage"),
    "level.two": mark("Two stages"),
    "level.all": mark("Whole tree"),
    "step.of": mark("%(at)s of %(all)s"),
    "place.is_cut": mark("cut"),
    "move.up": mark("Up"),
    "move.down": mark("Down"),
    "move.left": mark("To the left"),
    "move.right": mark("To the right"),
    "act.top": mark("Cut here"),
    "act.limbs": mark("Take out"),
    "act.columns": mark("Strip"),
    "act.heading": mark("Head here"),
    "act.put_back": mark("Put back"),
    "act.undo": mark("Undo"),
    "act.done": mark("Done"),
    "act.leave": mark("Leave it"),
    "act.was_cut": mark("It is cut"),
    "act.was_put_back": mark("Put back"),
    "act.was_undone": mark("Undone"),
    "result.right": mark("Right"),
    "result.nothing_due": mark("Nothing was due here"),
    "result.show_how": mark("Show how"),
    "result.show_mine": mark("Show mine"),
    "result.next": mark("Go on"),
    "result.next_tree": mark("Go on"),
    "exercise.title": mark("A question"),
    "exercise.wrong": mark("Not this one"),
    "exercise.this_is_right": mark("this is right"),
    "exercise.this_was_yours": mark("this was your answer"),
    "aloud.read": mark("Read aloud"),
    "aloud.stop": mark("Stop reading"),
}

PHRASES: Final[dict[str, str]] = {
    **{f"stage.{stage}": name for stage, name in STAGE_NAMES.items()},
    **{key: str(PHRASES_SCREENS[key]) for key in _SHARED},
    **OWN_PHRASES,
}


def spoken(words: Words) -> dict[str, str]:
    """Return every phrase in one language."""
    return {key: words.gettext(phrase) for key, phrase in PHRASES.items()}
