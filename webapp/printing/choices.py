"""
What was chosen for a print batch, stored with it so that it prints again with the same bytes.

Whatever could change later stands here as it was: the block's name, the help that is called, the
correction of the printer. Names of people do not: they may be erased, and then leave the reprint
too.
"""

from collections.abc import Mapping
from datetime import date
from typing import Annotated, Any, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, TypeAdapter, model_validator

from audits.messages import Units, Words
from audits.records import Block, Farm, StandardVersion
from audits.vocabulary import Method, Stage, TurnedOver
from printables.cards import CardFormat, CardStyle
from printables.sheet import Page
from printables.subject import StandardSubject
from webapp.reading import words_in


class _Choice(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class SubjectChoice(_Choice):
    """The block and what stands around it on paper, as it was when the batch was made."""

    farm: str
    block: str
    block_id: int
    version: int
    in_force_from: date
    method: Method
    low_bloom: bool
    emergency_location: str
    first_aider: str

    @classmethod
    def of(cls, farm: Farm, block: Block, version: StandardVersion, method: Method) -> Self:
        """Return a block's subject as it is now."""
        return cls(
            farm=farm.name,
            block=block.name,
            block_id=block.id,
            version=version.version,
            in_force_from=version.in_force_from,
            method=method,
            low_bloom=block.low_bloom,
            emergency_location=block.emergency_location or farm.emergency_location,
            first_aider=farm.first_aider,
        )

    @property
    def subject(self) -> StandardSubject:
        """The subject as the printables take it."""
        return StandardSubject(**self.model_dump(exclude={"block_id"}))


class PaperChoice(_Choice):
    """The paper, the printer's habits, and how the farm reads lengths."""

    page: Page
    turned_over: TurnedOver = TurnedOver.LONG_EDGE
    back_right_mm: float = 0.0
    back_down_mm: float = 0.0
    region: str
    units: Units

    def words(self, language: str) -> Words:
        """Return the words of a language as the batch reads."""
        return words_in(language, region=self.region, units=self.units)


class NamedCard(_Choice):
    """A card for one person: whose, and in which language."""

    worker_id: int
    language: str


class CardChoices(_Choice):
    """Pocket cards: some of each language, or one for each person of a crew."""

    kind: Literal["cards"] = "cards"
    subject: SubjectChoice
    paper: PaperChoice
    card_format: CardFormat
    style: CardStyle
    stage: Stage | None = None
    languages: tuple[str, ...] = ()
    people: tuple[NamedCard, ...] = ()
    copies: int = Field(ge=1)
    printed_on: date
    address: str = ""

    @model_validator(mode="after")
    def _has_cards(self) -> Self:
        if bool(self.languages) == bool(self.people):
            raise ValueError("cards are for languages or for people")
        return self

    @property
    def spoken(self) -> tuple[str, ...]:
        """The languages of the cards, in order."""
        return self.languages or tuple(sorted({each.language for each in self.people}))

    @property
    def count(self) -> int:
        """Cards in the batch."""
        return self.copies * len(self.people or self.languages)


class GaugeChoices(_Choice):
    """Sheets of gauges, alike."""

    kind: Literal["gauges"] = "gauges"
    subject: SubjectChoice
    paper: PaperChoice
    language: str
    copies: int = Field(ge=1)
    printed_on: date

    @property
    def spoken(self) -> tuple[str, ...]:
        """The language of the sheets."""
        return (self.language,)

    @property
    def count(self) -> int:
        """Sheets in the batch."""
        return self.copies


BatchChoices = CardChoices | GaugeChoices

_READER: TypeAdapter[BatchChoices] = TypeAdapter(
    Annotated[CardChoices | GaugeChoices, Field(discriminator="kind")]
)


def read_choices(stored: Mapping[str, Any]) -> BatchChoices:
    """Return the choices of a stored batch."""
    return _READER.validate_python(dict(stored))


def stored_choices(choices: BatchChoices) -> dict[str, Any]:
    """Return choices as they are stored."""
    return choices.model_dump(mode="json")
