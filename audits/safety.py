"""Safety notes for crews and auditors: short, chosen by method, always second to local rules."""

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from audits.messages import Message, mark, say
from audits.units import Length
from audits.vocabulary import Method

# Sources, in the words of this file only:
#   OSHA: US Occupational Safety and Health Administration, tripod orchard ladder card and sheet.
#   WAC: Washington Administrative Code, chapter 296-307 (farms), sections as given.
#   SAIF: SAIF (Oregon insurer), orchard ladder safety. WSPS: Ontario WSPS, ladder safety.
#   T8: California Code of Regulations, Title 8, sections as given.
#   MBIE: New Zealand MBIE (2013), elevating platforms in horticulture.
#   QLD: WorkSafe Queensland, elevating work platforms.
#   WA-AU: notice on electric secateurs to Western Australian orchards. CALS: University of
#   Wisconsin-Madison, College of Agricultural and Life Sciences (2005), on powered pruners.
# "Custom" marks common practice without a source; such a note gives advice, never a rule or figure.


class SignalWord(StrEnum):
    """
    How bad an injury may be, after the definitions of ANSI Z535.4.

    Danger: it will kill or badly injure if it is not avoided. Warning: it could kill or badly
    injure. Caution: it could injure slightly or moderately. No word stands for anything else.
    """

    DANGER = "danger"
    WARNING = "warning"
    CAUTION = "caution"


SIGNAL_WORD_NAMES: Final = {
    SignalWord.DANGER: mark("DANGER"),
    SignalWord.WARNING: mark("WARNING"),
    SignalWord.CAUTION: mark("CAUTION"),
}


class Topic(StrEnum):
    """What a safety note is about, in the order of the brief."""

    POWER_LINES = "power_lines"
    LADDER = "ladder"
    PLATFORM = "platform"
    TOPPING_MACHINE = "topping_machine"
    POWERED_SHEARS = "powered_shears"
    HAND_TOOLS = "hand_tools"
    WEATHER = "weather"
    SPRAY = "spray"
    AUDITOR = "auditor"


TOPIC_NAMES: Final = {
    Topic.POWER_LINES: mark("Power lines"),
    Topic.LADDER: mark("Ladder"),
    Topic.PLATFORM: mark("Platform"),
    Topic.TOPPING_MACHINE: mark("Topping machine"),
    Topic.POWERED_SHEARS: mark("Powered shears"),
    Topic.HAND_TOOLS: mark("Hand tools"),
    Topic.WEATHER: mark("Weather"),
    Topic.SPRAY: mark("Spray"),
    Topic.AUDITOR: mark("While you audit"),
}


class Authority(StrEnum):
    """Who has the last word where a note and a rule differ."""

    LOCAL_RULES = "local_rules"
    MANUAL = "manual"
    LICENSED_TRADE = "licensed_trade"


AUTHORITY_SENTENCES: Final = {
    Authority.LOCAL_RULES: mark("Local rules and your farm's safety plan come first."),
    Authority.MANUAL: mark("Local rules and the maker's manual come first."),
    Authority.LICENSED_TRADE: mark(
        "Local rules come first. Leave electrical work to licensed people."
    ),
}


@dataclass(frozen=True)
class SafetyNote:
    """
    One thing that keeps people whole.

    Parameters
    ----------
    key : str
        Name by which other parts refer to the note.
    topic : Topic
        What it is about.
    text : Message
        The note in short sentences, verb first.
    short : Message
        The note in at most ten words, for the card.
    authority : Authority
        Who has the last word.
    injury : bool
        Whether somebody may be hurt who does not heed it.
    signal : SignalWord or None, optional
        How badly; only where `injury` is true.
    source : Message or None, optional
        Where a figure in the text comes from; printed beside it.

    Raises
    ------
    ValueError
        If a signal word stands on a note that is not about injury.
    """

    key: str
    topic: Topic
    text: Message
    short: Message
    authority: Authority
    injury: bool
    signal: SignalWord | None = None
    source: Message | None = None

    def __post_init__(self) -> None:
        if self.signal is not None and not self.injury:
            raise ValueError(f"signal is {self.signal} on {self.key}, which is not about injury")


def _hurts(
    key: str,
    topic: Topic,
    signal: SignalWord,
    text: Message,
    short: Message,
    authority: Authority = Authority.LOCAL_RULES,
    source: Message | None = None,
) -> SafetyNote:
    return SafetyNote(key, topic, text, short, authority, injury=True, signal=signal, source=source)


_NOTES: Final = (
    # OSHA and WAC 296-307-15006: lines count as live; look up before moving anything tall.
    # Washington asks 10 ft at 50 kV or less and more above; other places ask other distances.
    _hurts(
        "lines_look_up",
        Topic.POWER_LINES,
        SignalWord.DANGER,
        say(
            "Look up before you move a ladder, a pole or a platform. Treat every line as live. "
            "Keep %(distance)s away or more: your rules may ask for more.",
            distance=Length(3048.0),
        ),
        say("Look up. Stay far from power lines."),
        Authority.LICENSED_TRADE,
        say("Washington State farm rule, WAC 296-307-15006, up to 50 kV"),
    ),
    # T8 3441 and 3455: no conductive poles near high-voltage lines.
    _hurts(
        "lines_poles",
        Topic.POWER_LINES,
        SignalWord.DANGER,
        say("Measure with a dry pole that does not conduct. Use no metal pole near power lines."),
        say("Use no metal pole near power lines."),
        Authority.LICENSED_TRADE,
    ),
    # OSHA: not above the third step from the top; WAC 296-307-05505 and SAIF name other steps.
    _hurts(
        "ladder_top_steps",
        Topic.LADDER,
        SignalWord.WARNING,
        say(
            "Stay off the top of the ladder. Stand no higher than the third step from the top. "
            "Go lower if your rules say so."
        ),
        say("Stay off the top steps of the ladder."),
        Authority.LOCAL_RULES,
        say("US OSHA orchard ladder card"),
    ),
    # OSHA, WAC 296-307-05503, SAIF. A moving ladder starts most ladder harm (PNASH).
    _hurts(
        "ladder_lean",
        Topic.LADDER,
        SignalWord.WARNING,
        say("Face the ladder. Keep your body between the rails. Move the ladder, do not lean out."),
        say("Move the ladder. Do not lean out."),
    ),
    # OSHA and SAIF.
    _hurts(
        "ladder_check",
        Topic.LADDER,
        SignalWord.WARNING,
        say(
            "Check the ladder before each use and after it fell. "
            "Take a bad ladder away and mark it."
        ),
        say("Check the ladder before each use."),
        Authority.MANUAL,
    ),
    # WSPS and SAIF: made for soft ground, one person, third leg toward the tree.
    _hurts(
        "ladder_set",
        Topic.LADDER,
        SignalWord.WARNING,
        say(
            "Set the third leg toward the tree. Use it on soil, not on a hard floor. "
            "One person on a ladder. Never step off onto a branch."
        ),
        say("Never step from the ladder onto a branch."),
        Authority.MANUAL,
    ),
    # OSHA and WAC 296-307-05503: hands free when climbing, boots, training at the start.
    _hurts(
        "ladder_climb",
        Topic.LADDER,
        SignalWord.WARNING,
        say(
            "Climb with both hands free. Wear boots with a heel, clean of mud. "
            "New people learn to set and leave the ladder first."
        ),
        say("Climb with both hands free."),
    ),
    # QLD.
    _hurts(
        "platform_gates",
        Topic.PLATFORM,
        SignalWord.WARNING,
        say(
            "Shut the gates before the platform moves. Keep both feet on the floor. "
            "Do not sit on rails, climb them or reach out."
        ),
        say("Shut the gate. Keep both feet on the floor."),
        Authority.MANUAL,
    ),
    # T8 3641: the plate names load, height and slope. MBIE: tip-overs lead the list of harm.
    _hurts(
        "platform_plate",
        Topic.PLATFORM,
        SignalWord.WARNING,
        say(
            "Read the plate: load, height and slope. Stay inside all three. "
            "Drive slowly and watch for holes."
        ),
        say("Drive slowly. Watch for holes and slopes."),
        Authority.MANUAL,
    ),
    # QLD and custom: where rules or the manual ask for a harness.
    _hurts(
        "platform_harness",
        Topic.PLATFORM,
        SignalWord.WARNING,
        say("Wear a harness where the rules or the manual ask for one."),
        say("Wear a harness where the rules ask for one."),
        Authority.MANUAL,
    ),
    # MBIE: people on the ground were run over.
    _hurts(
        "platform_ground",
        Topic.PLATFORM,
        SignalWord.WARNING,
        say("Keep people on the ground clear of the wheels. Agree on one sign for stop."),
        say("Keep clear of the wheels of the platform."),
        Authority.MANUAL,
    ),
    # Custom.
    _hurts(
        "topping_machine",
        Topic.TOPPING_MACHINE,
        SignalWord.WARNING,
        say("Stay far from the topping machine while its blades turn. Wood may fly."),
        say("Stay far from turning blades."),
        Authority.MANUAL,
    ),
    # WA-AU: fingers lost to powered shears in orchards.
    _hurts(
        "shears_free_hand",
        Topic.POWERED_SHEARS,
        SignalWord.WARNING,
        say("Keep your free hand away from the blade. Stand firm before you cut."),
        say("Keep your free hand away from the blade."),
        Authority.MANUAL,
    ),
    # Custom, with WA-AU.
    _hurts(
        "shears_partner",
        Topic.POWERED_SHEARS,
        SignalWord.WARNING,
        say("Never cut where your partner's hand may be. Say where you cut next."),
        say("Never cut near your partner's hand."),
        Authority.MANUAL,
    ),
    # Custom; makers' manuals say the same.
    _hurts(
        "shears_battery",
        Topic.POWERED_SHEARS,
        SignalWord.WARNING,
        say("Take the battery out or the air off before you clear or clean the blade."),
        say("Battery out before you clear the blade."),
        Authority.MANUAL,
    ),
    # CALS: air shears close fully at once.
    _hurts(
        "shears_air",
        Topic.POWERED_SHEARS,
        SignalWord.WARNING,
        say("Air shears close fully at once. Learn yours on the ground first."),
        say("Air shears close fully at once."),
        Authority.MANUAL,
    ),
    # OSHA: eye protection for everyone who prunes or stands near.
    _hurts(
        "eyes",
        Topic.HAND_TOOLS,
        SignalWord.WARNING,
        say("Wear eye protection. So does everyone near you."),
        say("Wear eye protection."),
    ),
    # Custom; WAC 296-307-05503 asks for free hands on a ladder.
    _hurts(
        "tools_carry",
        Topic.HAND_TOOLS,
        SignalWord.CAUTION,
        say("Cover the blade of a saw when you carry it. Never climb with a tool in your hand."),
        say("Cover the saw when you carry it."),
    ),
    # Custom.
    _hurts(
        "tools_below",
        Topic.HAND_TOOLS,
        SignalWord.CAUTION,
        say("Look below before a limb falls. Hold heavy wood or cut it in two steps."),
        say("Look below before a limb falls."),
    ),
    # CALS: repeated hand work is a harm in itself.
    _hurts(
        "tools_strain",
        Topic.HAND_TOOLS,
        SignalWord.CAUTION,
        say("Keep blades sharp. Change tasks. Stop when your hand hurts and say so."),
        say("Stop when your hand hurts and say so."),
    ),
    # OSHA: no ladder work in wind or unsafe conditions; ice is custom.
    _hurts(
        "weather_stop",
        Topic.WEATHER,
        SignalWord.WARNING,
        say("Stop work above the ground in strong wind, ice, frost or snow."),
        say("Wind or ice: stop and come down."),
    ),
    # Custom.
    _hurts(
        "spray_posting",
        Topic.SPRAY,
        SignalWord.WARNING,
        say("Read the spray sign at the block. Stay out until the time on it has passed."),
        say("Spray sign up? Stay out."),
    ),
    # MBIE and custom.
    _hurts(
        "auditor_clear",
        Topic.AUDITOR,
        SignalWord.WARNING,
        say("Stay clear of moving platforms. Let the driver see you."),
        say("Stay clear of moving platforms."),
    ),
    # Custom.
    _hurts(
        "auditor_still",
        Topic.AUDITOR,
        SignalWord.CAUTION,
        say("Stand still while you tap. Look up before you walk on."),
        say("Stand still while you tap."),
    ),
    # Custom; the standard judges heights by wire or pole.
    _hurts(
        "auditor_ground",
        Topic.AUDITOR,
        SignalWord.WARNING,
        say("Judge heights from the ground, by wire or pole. Never climb to measure."),
        say("Judge heights from the ground."),
    ),
)

NOTES: Final = {note.key: note for note in _NOTES}

_TOOL_TOPICS: Final = frozenset({Topic.POWERED_SHEARS, Topic.HAND_TOOLS})
_EVERYWHERE: Final = frozenset({Topic.POWER_LINES, Topic.WEATHER, Topic.SPRAY})
_METHOD_TOPICS: Final = {
    Method.LADDER: frozenset({Topic.LADDER}),
    Method.PLATFORM: frozenset({Topic.PLATFORM}),
    Method.GROUND: frozenset(),
    Method.MACHINE_TOPPED: frozenset({Topic.TOPPING_MACHINE}),
}

_CARD_KEYS: Final = {
    Method.LADDER: ("lines_look_up", "ladder_top_steps", "shears_free_hand"),
    Method.PLATFORM: ("lines_look_up", "platform_gates", "shears_free_hand"),
    Method.GROUND: ("lines_poles", "shears_free_hand", "eyes"),
    Method.MACHINE_TOPPED: ("lines_look_up", "topping_machine", "shears_free_hand"),
}


def safety_brief(method: Method) -> tuple[SafetyNote, ...]:
    """
    Choose the notes for a crew.

    Parameters
    ----------
    method : Method
        From where the crew works.

    Returns
    -------
    tuple of SafetyNote
        Notes on the method, on tools and on what holds everywhere, grouped by topic.
    """
    topics = _METHOD_TOPICS[method] | _TOOL_TOPICS | _EVERYWHERE
    return tuple(note for note in _NOTES if note.topic in topics)


def auditor_brief() -> tuple[SafetyNote, ...]:
    """
    Choose the notes for whoever walks the rows behind a crew.

    Returns
    -------
    tuple of SafetyNote
        Notes on audits and on what holds everywhere.
    """
    topics = _EVERYWHERE | {Topic.AUDITOR}
    return tuple(note for note in _NOTES if note.topic in topics)


def card_notes(method: Method) -> tuple[SafetyNote, ...]:
    """
    Choose the three notes that go on a pocket card.

    Parameters
    ----------
    method : Method
        From where the crew works.

    Returns
    -------
    tuple of SafetyNote
        The gravest first.
    """
    return tuple(NOTES[key] for key in _CARD_KEYS[method])


def emergency_words(emergency_location: str, first_aider: str) -> tuple[Message, ...]:
    """
    Say where help comes to and who gives first aid.

    Parameters
    ----------
    emergency_location : str
        Where an ambulance finds the block; empty if nobody wrote it down.
    first_aider : str
        Name of the first-aider; empty if nobody wrote it down.

    Returns
    -------
    tuple of Message
        Two sentences; they ask for what is missing.
    """
    place = (
        say("In an emergency, help meets you here: %(place)s.", place=emergency_location.strip())
        if emergency_location.strip()
        else say("Ask now where help meets you in an emergency.")
    )
    aider = (
        say("First aid: %(name)s.", name=first_aider.strip())
        if first_aider.strip()
        else say("Ask now who gives first aid today.")
    )
    return (place, aider)
