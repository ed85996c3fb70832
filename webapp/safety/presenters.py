"""Safety notes as the pages show them: by method and topic, in the words of one language."""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby

from audits.messages import Message, Words, say
from audits.records import Farm
from audits.safety import (
    AUTHORITY_SENTENCES,
    SIGNAL_WORD_NAMES,
    TOPIC_NAMES,
    Authority,
    SafetyNote,
    Topic,
    auditor_brief,
    card_notes,
    emergency_words,
    safety_brief,
)
from audits.vocabulary import METHOD_NAMES, Method
from webapp.reading import LANGUAGE_NAMES, words, words_of_farm


@dataclass(frozen=True)
class NoteLine:
    """A note with its signal word, if it has one."""

    text: str
    signal_word: str | None


@dataclass(frozen=True)
class TopicPart:
    """The notes on a topic, and who has the last word on them."""

    name: str
    notes: list[NoteLine]
    deferring: str


@dataclass(frozen=True)
class Group:
    """The topics of a method, of everyone or of whoever audits."""

    key: str
    heading: str
    topics: list[TopicPart]


@dataclass(frozen=True)
class Sheet:
    """Every note in the words of one language."""

    language: str
    language_name: str
    groups: list[Group]
    nothing_own: str
    local_rules: str


@dataclass(frozen=True)
class Brief:
    """What a crew is told before it begins: the gravest notes, then all of them by topic."""

    heading: str
    gravest: list[NoteLine]
    topics: list[TopicPart]
    place: str


def brief_of(method: Method, places: Mapping[str, str], farm: Farm) -> Brief:
    """
    Return the brief for a method, in the reader's words.

    `places` has, for the name of each block, where an ambulance is sent; empty where that is the
    farm's own place.
    """
    speaker = words()
    return Brief(
        heading=speaker.say(say("Safety: %(method)s", method=say(METHOD_NAMES[method]))),
        gravest=[_note_line(note, speaker) for note in card_notes(method)],
        topics=_topic_parts(safety_brief(method), speaker),
        place=where_help_is(places, farm),
    )


def where_help_is(places: Mapping[str, str], farm: Farm) -> str:
    """Say where an ambulance is sent, block by block where that differs, and who helps."""
    say_it = words().say
    sentences = {
        block: emergency_words(place.strip() or farm.emergency_location, farm.first_aider)
        for block, place in (places or {"": ""}).items()
    }
    where = {block: say_it(place) for block, (place, _) in sentences.items()}
    (aider,) = {say_it(aider) for _, aider in sentences.values()}
    if len(set(where.values())) == 1:
        return f"{next(iter(where.values()))} {aider}"
    return " ".join([*(f"{block}: {place}" for block, place in where.items()), aider])


def sheets(farm: Farm) -> list[Sheet]:
    """Return every note in the reader's language first, then in the others."""
    reader = words()
    others = [words_of_farm(farm, code) for code, _ in LANGUAGE_NAMES if code != reader.language]
    return [_sheet(speaker) for speaker in (reader, *others)]


def _sheet(speaker: Words) -> Sheet:
    everywhere = _topics_of_every_method()
    auditing = [note for note in auditor_brief() if note.topic not in everywhere]
    common = [note for note in safety_brief(Method.GROUND) if note.topic in everywhere]
    return Sheet(
        language=speaker.language,
        language_name=dict(LANGUAGE_NAMES)[speaker.language],
        groups=[
            *(_method_group(method, everywhere, speaker) for method in Method),
            Group(
                "everyone",
                speaker.say(say("With every method")),
                _topic_parts(common, speaker),
            ),
            Group(
                "auditing",
                speaker.say(say("Whoever walks behind the crew")),
                _topic_parts(auditing, speaker),
            ),
        ],
        nothing_own=speaker.say(
            say("Nothing of its own. What holds with every method holds here too.")
        ),
        local_rules=speaker.say(
            say("The rules of the farm and of the law come first. Ask when they differ from this.")
        ),
    )


def _method_group(method: Method, everywhere: frozenset[Topic], speaker: Words) -> Group:
    own = [note for note in safety_brief(method) if note.topic not in everywhere]
    return Group(str(method), speaker.say(METHOD_NAMES[method]), _topic_parts(own, speaker))


def _topics_of_every_method() -> frozenset[Topic]:
    briefs = ({note.topic for note in safety_brief(method)} for method in Method)
    return frozenset(set.intersection(*briefs))


def _topic_parts(notes: Iterable[SafetyNote], speaker: Words) -> list[TopicPart]:
    return [
        _topic_part(topic, list(of_topic), speaker)
        for topic, of_topic in groupby(notes, key=lambda note: note.topic)
    ]


def _topic_part(topic: Topic, notes: Sequence[SafetyNote], speaker: Words) -> TopicPart:
    return TopicPart(
        name=speaker.say(TOPIC_NAMES[topic]),
        notes=[_note_line(note, speaker) for note in notes],
        deferring=speaker.say(_deferring({note.authority for note in notes})),
    )


def _deferring(authorities: Collection[Authority]) -> Message:
    """Say once who has the last word on some notes."""
    if authorities == {Authority.LOCAL_RULES, Authority.MANUAL}:
        return say("Local rules, your farm's safety plan and the maker's manual come first.")
    if len(authorities) > 1:
        return say(AUTHORITY_SENTENCES[Authority.LOCAL_RULES])
    return say(AUTHORITY_SENTENCES[next(iter(authorities))])


def _note_line(note: SafetyNote, speaker: Words) -> NoteLine:
    text = speaker.say(note.text)
    if note.source is not None:
        text = speaker.say(say("%(note)s (Source: %(source)s)", note=text, source=note.source))
    return NoteLine(
        text=text,
        signal_word=None if note.signal is None else speaker.say(SIGNAL_WORD_NAMES[note.signal]),
    )
