"""A treatment programme: drawn up and signed by the licensed person, never by Lagan."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from enum import StrEnum
from typing import Annotated, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, model_validator

from shared.facility import Facility, Id
from shared.quantities import FactBook, Mark
from shared.vocabulary import Agent, Material, Target

Ratio = Annotated[float, Field(ge=0, le=1)]

FACTS = FactBook()
_REBOUND = (
    "ours, after residues measured in houses aerated and closed again: methyl bromide rose from 5"
    " to 17.5 ppm within 90 min, sulfuryl fluoride to 5 ppm within 120 min"
)
READING_FRESH_S = FACTS.note(
    "age from which a reading is stale, unless the signer says otherwise",
    900,
    "s",
    "ours",
    Mark.COMMON_PRACTICE,
)
CLOSED_HOLD_S = FACTS.note(
    "closed hold before the last two passes, unless the signer says otherwise",
    7_200,
    "s",
    _REBOUND,
    Mark.COMMON_PRACTICE,
)
PASSES_APART_S = FACTS.note(
    "time between the two passes, unless the signer says otherwise",
    3_600,
    "s",
    _REBOUND,
    Mark.COMMON_PRACTICE,
)

SOON_D = FACTS.note(
    "days before the end at which a programme is said to expire soon",
    30,
    "d",
    "ours",
    Mark.COMMON_PRACTICE,
)


class ClearanceRule(BaseModel):
    """When a chamber may be opened after this programme, as its signer wrote it down."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    gas: str = Field(description="Key of the gas in the limits table, such as ozone.")
    limit_ppm: Annotated[Decimal, Field(gt=0)]
    compare: Literal["at_most", "below"] = Field(
        description="Whether a reading equal to the limit passes; the label's own wording decides."
    )
    cited_from: str = Field(min_length=3, description="The label, code or rule the limit is from.")
    fresh_s: Annotated[int, Field(gt=0, le=86_400)] = Field(
        default=READING_FRESH_S, description="A reading is stale from this age on."
    )
    closed_hold_s: Annotated[int, Field(ge=0, le=86_400)] = Field(
        default=CLOSED_HOLD_S,
        description="Chamber kept closed, without airing, before the last two passes.",
    )
    passes_apart_s: Annotated[int, Field(ge=0, le=86_400)] = Field(
        default=PASSES_APART_S, description="Least time between the two passes."
    )


class Programme(BaseModel):
    """One version of a signed programme.

    Concentrations and times are the signer's. A programme without a gas (activated carbon, air
    changes) has no concentration and no clearance rule.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    id: Id
    version: Annotated[int, Field(ge=1)]
    label: str
    family: Id = Field(description="Programmes of one family need no clean-down between them.")
    agent: Agent
    targets: tuple[Target, ...] = Field(min_length=1)
    concentration_ppm: tuple[Decimal, Decimal] | None = Field(
        default=None, description="Lowest and highest concentration that counts, ppm."
    )
    dose_ppm_h: tuple[Decimal, Decimal] | None = Field(
        default=None, description="Least and greatest dose, ppm·h."
    )
    temperature_c: tuple[float, float]
    rh: tuple[Ratio, Ratio]
    run_min: tuple[Annotated[int, Field(gt=0)], Annotated[int, Field(gt=0)]] = Field(
        description="Least and greatest length of the whole run, airing included, minutes."
    )
    exclusions: tuple[Material, ...] = ()
    clearance: ClearanceRule | None = None
    signed_by: str
    licence_no: str | None = None
    jurisdiction: str
    expires: date
    note: str = ""

    @model_validator(mode="after")
    def _windows_in_order(self) -> Self:
        for name in ("concentration_ppm", "dose_ppm_h", "temperature_c", "rh", "run_min"):
            window = getattr(self, name)
            if window is not None and window[0] > window[1]:
                raise ValueError(
                    f"{name}: the lower end {window[0]} is above the upper {window[1]}"
                )
        return self

    @model_validator(mode="after")
    def _gas_is_complete(self) -> Self:
        parts = (self.concentration_ppm, self.dose_ppm_h, self.clearance)
        if any(parts) and not all(parts):
            raise ValueError(
                "a gas programme needs concentration_ppm, dose_ppm_h and clearance together"
            )
        if all(parts) and not self.licence_no:
            raise ValueError("licence_no: a gas programme needs the signer's licence number")
        return self

    @property
    def needs_licence(self) -> bool:
        """Whether a licensed person must be there: every gas programme."""
        return self.clearance is not None


class State(StrEnum):
    """Whether a programme may be worked by."""

    IN_FORCE = "in_force"
    EXPIRES_SOON = "expires_soon"
    EXPIRED = "expired"
    NOT_LICENSED = "not_licensed"


@dataclass(frozen=True)
class Standing:
    """Where a programme stands on a day, in words."""

    state: State
    words: str

    @property
    def usable(self) -> bool:
        """Whether it may be planned and started."""
        return self.state in {State.IN_FORCE, State.EXPIRES_SOON}


def standing_of(programme: Programme, facility: Facility | None, day: date) -> Standing:
    """Where ``programme`` stands on ``day``; one with a gas needs its signer's licence on file."""
    if programme.expires < day:
        return Standing(State.EXPIRED, f"expired on {programme.expires}; have it signed anew")
    ends = programme.expires
    if programme.needs_licence:
        person = facility.licence(programme.licence_no) if facility else None
        if person is None:
            return Standing(
                State.NOT_LICENSED,
                f"not signed for a licence on file; {programme.licence_no} is nobody's here",
            )
        if person.expires < day:
            return Standing(
                State.NOT_LICENSED,
                f"licence {person.licence_no} expired on {person.expires}; have it renewed",
            )
        ends = min(ends, person.expires)
    left = (ends - day).days
    if left <= SOON_D:
        when = "today" if left == 0 else f"in {left} day{'' if left == 1 else 's'}, on {ends}"
        return Standing(State.EXPIRES_SOON, f"expires {when}")
    return Standing(State.IN_FORCE, f"in force until {ends}")
