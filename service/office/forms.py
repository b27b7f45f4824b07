"""The office's forms: read whole, so that every fault is named beside its field at once."""

import re
from collections.abc import Iterable, Mapping
from datetime import UTC, datetime
from functools import cache
from typing import Any, TypeVar
from zoneinfo import ZoneInfo, available_timezones

from pydantic import BaseModel, Field, ValidationError

from service.crew.phones import DEFAULT_MINUTES, MOST_MINUTES
from service.crew.spreadsheet import CURRENCIES, ImportOptions
from shared import events as ev
from shared.quantities import LengthUnit
from shared.records import Loss
from shared.vocabulary import Hazard, Peril, WaterCategory

B = TypeVar("B", bound=BaseModel)

COLDEST_C, HOTTEST_C = -40, 60
MOST_NAME = 300
"""The longest line that an event takes."""

_NAME = "Your name: say who you are, so that the record can."
_REFERENCE = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,63}")
_REFERENCE_MEND = "use up to 64 letters, digits, dots, hyphens or underscores, and no spaces."


class FormError(ValueError):
    """What was typed cannot be taken; ``faults`` names the mend for each field."""

    def __init__(self, faults: Mapping[str, str]) -> None:
        self.faults = dict(faults)
        super().__init__("; ".join(self.faults.values()))


@cache
def zones() -> tuple[str, ...]:
    """The time zones to choose from, by continent and place."""
    places = (zone for zone in available_timezones() if "/" in zone and not zone.startswith("Etc/"))
    return (*sorted(places), "UTC")


def site_time(text: str, zone: str) -> datetime:
    """A date and time as typed on the clocks of ``zone``, in UTC. ``ValueError`` with the mend."""
    try:
        typed = datetime.fromisoformat(text.strip())
    except ValueError:
        raise ValueError("write a date and a time, such as 2031-03-04T14:30.") from None
    moment = typed.replace(tzinfo=ZoneInfo(zone))
    there_and_back = datetime.fromtimestamp(moment.timestamp(), ZoneInfo(zone))
    if there_and_back.replace(tzinfo=None) != typed.replace(tzinfo=None):
        raise ValueError("the clocks went forward over that time; give one that there was.")
    return moment.astimezone(UTC)


class _Faults:
    """Collects the faults of one form."""

    def __init__(self) -> None:
        self.found: dict[str, str] = {}

    def need(self, name: str, value: str, mend: str) -> None:
        if not value.strip():
            self.found.setdefault(name, mend)

    def time(self, name: str, text: str, zone: str, label: str, now: datetime) -> datetime | None:
        """The time typed, or ``None`` with a fault noted.

        Without a zone only the way it is written is looked at.
        """
        try:
            moment = site_time(text, zone or "UTC")
        except ValueError as error:
            self.found.setdefault(name, f"{label}: {error}")
            return None
        if zone and moment > now:
            self.found.setdefault(name, f"{label}: this lies in the future; check date and zone.")
            return None
        return moment

    def made(self, body: type[B], values: Mapping[str, Any], labels: Mapping[str, str]) -> B:
        """The event, or ``FormError`` with every fault of the form."""
        try:
            event = body.model_validate(dict(values))
        except ValidationError as error:
            for one in error.errors():
                name = str(one["loc"][0]) if one["loc"] else ""
                self.found.setdefault(name, f"{labels.get(name, name)}: {one['msg']}.")
            raise FormError(self.found) from error
        if self.found:
            raise FormError(self.found)
        return event


class LossForm(BaseModel):
    """A loss as typed."""

    reference: str = ""
    title: str = ""
    site: str = ""
    zone: str = ""
    peril: str = ""
    happened_at: str = ""
    wet_since: str = ""
    water_category: str = ""
    mean_temperature_c: str = ""
    hazards: list[str] = Field(default_factory=list)
    actor: str = ""

    def read(self, taken: Iterable[str], now: datetime) -> ev.LossOpened:
        """The event that opens the loss. ``FormError`` with every fault."""
        faults = _Faults()
        if not _REFERENCE.fullmatch(self.reference.strip()):
            faults.found["reference"] = f"Reference: {_REFERENCE_MEND}"
        elif self.reference.strip().casefold() in {one.casefold() for one in taken}:
            faults.found["reference"] = "Reference: another loss has it; give this one its own."
        faults.need("title", self.title, "Title: give the loss a short name.")
        faults.need("site", self.site, "Site: write the address.")
        zone = self.zone if self.zone in zones() else ""
        faults.need("zone", zone, "Time zone: choose the zone of the site.")
        if self.peril not in set(Peril):
            faults.found["peril"] = "What happened: choose one."
        happened = faults.time("happened_at", self.happened_at, zone, "When", now)
        wet = None
        if self.wet_since.strip():
            wet = faults.time("wet_since", self.wet_since, zone, "Wet since", now)
        if self.water_category not in {"", *WaterCategory}:
            faults.found["water_category"] = "Water: choose a category, or leave it open."
        temperature = self.mean_temperature_c.strip().replace(",", ".")
        if temperature and not _is_temperature(temperature):
            faults.found["mean_temperature_c"] = (
                f"Mean temperature: a number of °C from {COLDEST_C} to {HOTTEST_C}, such as 18.5."
            )
        if not set(self.hazards) <= set(Hazard):
            faults.found["hazards"] = "Hazards: choose from the list."
        faults.need("actor", self.actor, _NAME)
        if faults.found:
            raise FormError(faults.found)
        return faults.made(
            ev.LossOpened,
            {
                "title": self.title,
                "site": self.site,
                "zone": zone,
                "peril": self.peril,
                "happened_at": happened,
                "wet_since": wet,
                "water_category": self.water_category or None,
                "mean_temperature_c": temperature or None,
                "hazards": self.hazards,
            },
            {"title": "Title", "site": "Site"},
        )


def _is_temperature(text: str) -> bool:
    if not re.fullmatch(r"-?\d{1,2}(\.\d{1,2})?", text):
        return False
    return COLDEST_C <= float(text) <= HOTTEST_C


class ClaimForm(BaseModel):
    """A claim as typed."""

    claim: str = ""
    insurer: str = ""
    policy: str = ""
    owner: str = ""
    currency: str = ""
    actor: str = ""

    def read(self, losses: Iterable[Loss]) -> ev.ClaimAdded:
        """The event that adds the claim. ``FormError`` with every fault."""
        faults = _Faults()
        holder = {one.claim.casefold(): loss for loss in losses for one in loss.claims}
        if not _REFERENCE.fullmatch(self.claim.strip()):
            faults.found["claim"] = f"Claim number: {_REFERENCE_MEND}"
        elif other := holder.get(self.claim.strip().casefold()):
            faults.found["claim"] = (
                f"Claim number: loss {other.loss} has a claim of this number already."
            )
        faults.need("insurer", self.insurer, "Insurer: write who insures.")
        faults.need("owner", self.owner, "Owner: write whose pieces they are.")
        faults.need("actor", self.actor, _NAME)
        if self.currency.strip().upper() not in CURRENCIES:
            faults.found["currency"] = (
                "Currency: write the code of three letters (ISO 4217), such as GBP."
            )
        return faults.made(
            ev.ClaimAdded,
            {
                "claim": self.claim.strip(),
                "insurer": self.insurer,
                "policy": self.policy,
                "owner": self.owner,
                "currency": self.currency.strip().upper(),
            },
            {"claim": "Claim number", "insurer": "Insurer", "owner": "Owner", "policy": "Policy"},
        )


class AuthorisationForm(BaseModel):
    """An authorisation as typed."""

    given_by: str = ""
    covers: str = ""
    actor: str = ""

    def read(self, document: str | None) -> ev.AuthorisationRecorded:
        """The event that records it. ``FormError`` with every fault."""
        faults = _Faults()
        faults.need("given_by", self.given_by, "Given by: write who authorised it.")
        faults.need("covers", self.covers, "Covers: write what may be done, and to which pieces.")
        faults.need("actor", self.actor, _NAME)
        return faults.made(
            ev.AuthorisationRecorded,
            {"given_by": self.given_by, "covers": self.covers, "document": document},
            {"given_by": "Given by", "covers": "Covers"},
        )


class HazardForm(BaseModel):
    """A hazard as typed."""

    hazard: str = ""
    note: str = ""
    actor: str = ""

    def read(self) -> ev.HazardNoted:
        """The event that notes it. ``FormError`` with every fault."""
        faults = _Faults()
        if self.hazard not in set(Hazard):
            faults.found["hazard"] = "Hazard: choose what was seen."
        faults.need("actor", self.actor, _NAME)
        if faults.found:
            raise FormError(faults.found)
        return faults.made(
            ev.HazardNoted, {"hazard": self.hazard, "note": self.note}, {"note": "Note"}
        )


class InviteForm(BaseModel):
    """A phone to be enrolled, as typed."""

    name: str = ""
    holder: str = ""
    minutes: str = str(DEFAULT_MINUTES)
    actor: str = ""

    def read(self) -> int:
        """For how many minutes the code lasts. ``FormError`` with every fault."""
        faults = _Faults()
        faults.need("name", self.name, "Name: call the phone something, such as Crew phone 3.")
        faults.need("actor", self.actor, _NAME)
        for name, value, label in (
            ("name", self.name, "Name"),
            ("holder", self.holder, "Person or team"),
        ):
            if len(value) > MOST_NAME:
                faults.found[name] = f"{label}: write at most {MOST_NAME} characters."
        typed = self.minutes.strip()
        minutes = int(typed) if typed.isdecimal() and len(typed) < 6 else 0
        if not 1 <= minutes <= MOST_MINUTES:
            faults.found["minutes"] = f"Minutes: write a whole number from 1 to {MOST_MINUTES}."
        if faults.found:
            raise FormError(faults.found)
        return minutes


class RevokeForm(BaseModel):
    """The end of a phone, as typed."""

    reason: str = ""
    actor: str = ""

    def read(self) -> str:
        """The reason. ``FormError`` with every fault."""
        faults = _Faults()
        faults.need("reason", self.reason, "Reason: say why, such as lost, or left the crew.")
        faults.need("actor", self.actor, _NAME)
        if len(self.reason) > MOST_NAME:
            faults.found["reason"] = f"Reason: write at most {MOST_NAME} characters."
        if faults.found:
            raise FormError(faults.found)
        return self.reason.strip()


class ImportForm(BaseModel):
    """What is said of a spreadsheet beside the file itself."""

    length_unit: str = ""
    currency: str = ""
    actor: str = ""

    def read(self) -> ImportOptions:
        """What to read the file by. ``FormError`` with every fault."""
        faults = _Faults()
        currency = self.currency.strip().upper()
        if currency and currency not in CURRENCIES:
            faults.found["currency"] = (
                "Currency: write the code of three letters (ISO 4217), such as GBP."
            )
        if self.length_unit not in {"", *LengthUnit}:
            faults.found["length_unit"] = "Unit: choose one."
        faults.need("actor", self.actor, _NAME)
        if faults.found:
            raise FormError(faults.found)
        return ImportOptions(
            length_unit=LengthUnit(self.length_unit) if self.length_unit else None,
            currency=currency or None,
        )
