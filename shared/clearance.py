"""The clearance interlock: whether a chamber may be opened after a run.

NOT CLEARED is the answer whenever anything is missing, late, unclear or contradictory. A run is
cleared only by measurement and by people:

* **Measured.** Every zone has two passes after a closed hold, a fresh gas reading and a fresh
  oxygen reading; and whatever was read since the hold, by whatever instrument, is sound: in a unit
  that can be converted, by an instrument that is in calibration and can see the limit, not from
  the future, within the limit, and not contradicted.
* **Signed.** Two different people, one of them licensed, each signed what the service showed when
  everything measured was in order. What is signed is the rule, the zones, the instruments, the
  doses and every reading since the hold, as far as the service had them at a named moment.
* **Unchanged.** Instruments that read on while people sign would void every signature within
  seconds if it held for the newest reading alone. So a signature stands while all that comes in
  afterwards is harmless: sound, in time, and no higher in its zone than the highest reading that
  was fresh when it was signed. The first reading that is anything else voids it, for good.

No decay formula takes part. The answer is advice to people who stand at the door. It is never the
sole barrier, and it says nothing about whether the space may be entered: that is for the licensed
fumigator.

A closed hold and a second look are asked for because a load gives gas back after airing (measured
for fumigated houses aerated and closed again). The freshness, hold and spacing of passes are the
programme's own, set by its signer.
"""

import unicodedata
from collections import defaultdict, deque
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from decimal import ROUND_UP, Decimal, InvalidOperation
from enum import StrEnum
from functools import cached_property
from hashlib import sha256
from operator import ge, le

from shared.ledger import canonical_bytes
from shared.programmes import ClearanceRule, Programme
from shared.quantities import FactBook, Mark, ppm_from_mg_m3
from shared.records import GasReading, Instrument, OxygenReading, Run, Signature
from shared.vocabulary import Phase, Role

FACTS = FactBook()
OXYGEN_LOW = FACTS.note(
    "least oxygen at opening", Decimal("19.5"), "% v/v", "29 CFR 1910.146(b)", Mark.PUBLISHED
)
OXYGEN_HIGH = FACTS.note(
    "most oxygen at opening", Decimal("23.5"), "% v/v", "29 CFR 1910.146(b)", Mark.PUBLISHED
)
SIGNATURES_NEEDED = FACTS.note(
    "different people who sign the readings, one of them the licensed fumigator",
    2,
    "people",
    "ours",
    Mark.COMMON_PRACTICE,
)
CLOCK_SKEW = timedelta(
    seconds=FACTS.note(
        "how far two clocks may differ: beyond it a reading is from the future or out of order, "
        "within it two readings are of one moment",
        120,
        "s",
        "ours",
        Mark.COMMON_PRACTICE,
    )
)
GAS_APART = FACTS.note(
    "share of the limit by which two gas readings of one zone and moment may differ",
    Decimal("0.5"),
    "of the limit",
    "ours: beyond it one of them is wrong, and nobody can say which",
    Mark.COMMON_PRACTICE,
)
OXYGEN_APART = FACTS.note(
    "how far two oxygen readings of one zone and moment may differ",
    Decimal(1),
    "% v/v",
    "ours, for two meters that are each half a per cent off",
    Mark.COMMON_PRACTICE,
)

ANYTHING = Decimal("Infinity")
"""What a text may mean that is no number: it is over every limit."""
NEVER = datetime.max.replace(tzinfo=UTC)

Reading = GasReading | OxygenReading
_Place = tuple[type[Reading], str]
"""What is measured, and in which zone."""


class State(StrEnum):
    """The interlock's three answers."""

    NOT_CLEARED = "not_cleared"
    CLEARED = "cleared"
    NO_GAS = "no_gas"
    """The programme uses no gas and none was dosed: there is nothing to clear by measurement."""


@dataclass(frozen=True)
class Clearance:
    """The answer and its reasons.

    Attributes:
        state: the answer.
        reasons: every unmet condition, in words; empty when cleared. Names are asked for only
            once all that is measured is in order.
        readings: digest of what there is to sign now; ``None`` while the measurements are not
            in order, because nothing that is signed then would count.
        seen_to: when the service had the newest reading of those; to be signed with the digest.
        signed_by: whose signatures stand.
        signed: the digests that they stand under, oldest signature first; an opening names one.
        voided: why signatures that were given do not stand, in words.
    """

    state: State
    reasons: tuple[str, ...]
    readings: str | None = None
    seen_to: datetime | None = None
    signed_by: tuple[str, ...] = ()
    signed: tuple[str, ...] = ()
    voided: tuple[str, ...] = ()

    @property
    def may_open(self) -> bool:
        """Whether the service lets the opening be recorded."""
        return self.state is not State.NOT_CLEARED


@dataclass(frozen=True)
class Setting:
    """What the interlock has to know beside the run itself.

    Attributes:
        zones: every zone of the chamber; each must be measured.
        molar_mass_g_mol: of the programme's gas, to convert mg/m³ to ppm; ``None`` if unknown.
        gas: key of the gas.
        instruments: registrations by name.
        licences: licence numbers on file and the day each expires.
        now: the service's time. A reading that the service had later than that means that its
            clock was put back, and is not believed.
    """

    zones: tuple[str, ...]
    gas: str | None
    molar_mass_g_mol: float | None
    instruments: Mapping[str, Instrument]
    licences: Mapping[str, date]
    now: datetime


def clearance(run: Run, programme: Programme | None, setting: Setting) -> Clearance:
    """Whether ``run`` is cleared for opening, and every reason why not."""
    if programme is None:
        return _refused("the programme of this run is not on file")
    if run.phase is not Phase.AIRING:
        return _refused(f"the run is in phase “{run.phase.label}”, not “{Phase.AIRING.label}”")
    if programme.clearance is None:
        if run.doses:
            return _refused("agent was dosed, but the programme names no gas to measure")
        return Clearance(State.NO_GAS, ())
    case = _Case(run, programme.clearance, setting)
    amiss = case.amiss()
    if amiss:
        return _refused(*amiss)
    return _signed(case)


def _refused(*reasons: str) -> Clearance:
    return Clearance(State.NOT_CLEARED, reasons)


def _signed(case: "_Case") -> Clearance:
    """The answer once everything measured is in order: whether two people have put their names."""
    standing: list[Signature] = []
    voided: list[str] = []
    for one in case.run.signatures:
        why = case.why_void(one)
        if why is None:
            standing.append(one)
        else:
            voided.append(f"what {one.signer} signed does not stand any more: {why}")
    reasons = _who_is_missing(standing, case.setting)
    return Clearance(
        State.NOT_CLEARED if reasons else State.CLEARED,
        tuple(reasons),
        readings=case.digest(),
        seen_to=max(one.received_at for one in case.readings),
        signed_by=tuple(sorted({one.signer for one in standing})),
        signed=tuple(one.readings for one in standing),
        voided=tuple(voided),
    )


def _who_is_missing(standing: Sequence[Signature], setting: Setting) -> list[str]:
    """Two different people, by name and by account, and one of them licensed."""
    reasons = []
    names = {_same_name(one.signer) for one in standing}
    accounts = {_same_name(one.actor) for one in standing}
    if min(len(names), len(accounts)) < SIGNATURES_NEEDED:
        reasons.append("two different people must sign these very readings")
    in_force = {
        number for number, expires in setting.licences.items() if expires >= setting.now.date()
    }
    licensed = [one for one in standing if one.role is Role.FUMIGATOR]
    if in_force.isdisjoint(one.licence_no for one in licensed):
        reasons.append("one of the two must be the licensed fumigator, with a licence in force")
    return reasons


def _same_name(name: str) -> str:
    """``name`` without what does not tell two people apart: spaces, capitals, ways to encode it."""
    return " ".join(unicodedata.normalize("NFKC", name).split()).casefold()


@dataclass(frozen=True)
class _Case:
    """A run that has to be cleared by measurement, judged at ``setting.now``."""

    run: Run
    rule: ClearanceRule
    setting: Setting

    @cached_property
    def readings(self) -> list[Reading]:
        """Every reading of gas and oxygen, by the time it was taken."""
        every: list[Reading] = [*self.run.gas, *self.run.oxygen]
        return sorted(every, key=lambda one: (one.taken_at, one.event))

    @property
    def fresh(self) -> timedelta:
        """From this age on a reading is stale."""
        return timedelta(seconds=self.rule.fresh_s)

    @cached_property
    def since(self) -> datetime:
        """When the run last entered a phase or was dosed, or a dose became known."""
        dosed = [max(one.at, one.received_at or one.at) for one in self.run.doses]
        return max([one.at for one in self.run.phases] + dosed)

    @cached_property
    def passes_from(self) -> datetime:
        """When the last closed hold was complete; never, if there was none."""
        need = timedelta(seconds=self.rule.closed_hold_s)
        complete = [
            hold.starts_at + need
            for hold in self.run.holds
            if hold.starts_at > self.since
            and min(hold.ends_at, self.setting.now) - hold.starts_at >= need
        ]
        return max(complete, default=NEVER)

    @cached_property
    def passes(self) -> list[Reading]:
        """What was read since the closed hold, in every zone and by whatever instrument."""
        return [one for one in self.readings if one.taken_at >= self.passes_from]

    def as_had(self, moment: datetime) -> "_Case":
        """The case as the service had it at ``moment``, to be judged at that moment."""
        had = {
            "gas": [one for one in self.run.gas if one.received_at <= moment],
            "oxygen": [one for one in self.run.oxygen if one.received_at <= moment],
        }
        return _Case(self.run.model_copy(update=had), self.rule, replace(self.setting, now=moment))

    def digest(self) -> str:
        """What is signed: the rule and all that the answer rests on.

        The readings enter by a digest of their own, over one line of JSON for each, oldest first:
        to sort the keys of every one of thousands would take seconds.
        """
        lines = "\n".join(one.model_dump_json() for one in self.passes)
        looked_at = {
            "rule": self.rule.model_dump(mode="json"),
            "zones": list(self.setting.zones),
            "since": self.since.isoformat(),
            "doses": [one.model_dump(mode="json") for one in self.run.doses],
            "holds": [one.model_dump(mode="json") for one in self.run.holds],
            "instruments": {
                name: one.model_dump(mode="json") for name, one in self.setting.instruments.items()
            },
            "heard": len(self.readings),
            "readings": sha256(lines.encode()).hexdigest(),
        }
        return sha256(canonical_bytes(looked_at)).hexdigest()

    # --- measured ------------------------------------------------------------------------------

    def amiss(self) -> list[str]:
        """What the measurements leave to be desired, in words; nothing when all is in order."""
        reasons = []
        if not self.setting.zones:
            reasons.append("the chamber has no zones on file, so nothing can be measured")
        if self.setting.gas != self.rule.gas:
            reasons.append(f"the limits table has no entry for {self.rule.gas}")
        passed = _by_place(self.passes)
        heard = _by_place(one for one in self.readings if one.taken_at > self.since)
        if self.passes_from == NEVER:
            hold = _span(self.rule.closed_hold_s)
            reasons.append(f"no closed hold of {hold} since airing began and the last dose")
            # Until then the newest readings are looked at, to say how far there is to go.
            passed = defaultdict(list, {place: some[-1:] for place, some in heard.items()})
        for zone in self.setting.zones:
            gas, air = (GasReading, zone), (OxygenReading, zone)
            reasons += self._stale(zone, self.rule.gas, heard[gas])
            if heard[gas]:
                reasons += self._too_few(zone, passed[gas])
            reasons += self._stale(zone, "oxygen", heard[air])
        for (kind, _), passes in passed.items():
            reasons += self._unsound_among(passes) or self._contradicted(kind, passes)
        return reasons

    def _stale(self, zone: str, what: str, readings: Sequence[Reading]) -> list[str]:
        if not readings:
            return [f"zone {zone}: no {what} reading since airing began and the last dose"]
        age = self.setting.now - readings[-1].taken_at
        if age >= self.fresh:
            return [
                f"zone {zone}: the {what} reading is {_span(int(age.total_seconds()))} old; "
                f"it counts for less than {_span(self.rule.fresh_s)}"
            ]
        return []

    def _too_few(self, zone: str, gas: Sequence[Reading]) -> list[str]:
        # Of a reading that came in late the service can't vouch for when it was taken.
        passes = [one.taken_at for one in gas if not self._late(one)]
        if len(passes) < 2 or passes[-1] - passes[0] < timedelta(seconds=self.rule.passes_apart_s):
            apart = _span(self.rule.passes_apart_s)
            return [f"zone {zone}: needs two passes at least {apart} apart after the closed hold"]
        return []

    def _late(self, one: Reading) -> bool:
        return one.received_at - one.taken_at >= self.fresh

    def _unsound_among(self, readings: Sequence[Reading]) -> list[str]:
        """The fault of the newest one that has a fault."""
        faults = (self._unsound(one) for one in reversed(readings))
        return [why for why in faults if why is not None][:1]

    def _unsound(self, one: Reading) -> str | None:
        """Why a reading can't be believed or keeps the chamber shut, whoever took it and when."""
        if one.zone not in self.setting.zones:
            return f"zone {one.zone}: the chamber has no such zone; check where this was read"
        if one.received_at > self.setting.now:
            return "the service's clock was put back since it had the last reading; mend the clock"
        if one.taken_at - one.received_at > CLOCK_SKEW:
            return (
                f"zone {one.zone}: a reading is dated in the future; "
                "check the clock it was taken by"
            )
        fault = self._air_fault(one) if isinstance(one, OxygenReading) else self._gas_fault(one)
        return f"zone {one.zone}: {fault}" if fault else None

    def _air_fault(self, air: OxygenReading) -> str | None:
        if OXYGEN_LOW <= _number(air.percent) <= OXYGEN_HIGH:
            return None
        return (
            f"oxygen {air.percent} %, outside {OXYGEN_LOW} to {OXYGEN_HIGH} % (29 CFR 1910.146(b))"
        )

    def _gas_fault(self, gas: GasReading) -> str | None:
        rule = self.rule
        instrument = self.setting.instruments.get(gas.instrument)
        if instrument is None or instrument.gas != rule.gas:
            return f"instrument {gas.instrument} is not registered for {rule.gas}"
        if instrument.calibrated_until <= self.setting.now:
            return f"instrument {gas.instrument} is out of calibration"
        if _number(instrument.detection_limit_ppm) > rule.limit_ppm:
            return f"instrument {gas.instrument} cannot see {rule.limit_ppm} ppm"
        ppm = highest_ppm(gas, instrument, self.setting.molar_mass_g_mol)
        if ppm == ANYTHING:
            return (
                f"“{gas.value} {gas.unit}” cannot be read as ppm; measure in ppm, "
                "or in mg/m3 with the temperature and pressure at the sensor"
            )
        if ppm > rule.limit_ppm or (ppm == rule.limit_ppm and rule.compare == "below"):
            wording = "at most" if rule.compare == "at_most" else "below"
            return (
                f"{ppm.normalize():f} ppm {rule.gas}, but the limit is {wording} "
                f"{rule.limit_ppm} ppm ({rule.cited_from})"
            )
        return None

    def _says(self, one: Reading) -> Decimal:
        """What a sound reading says: ppm of the gas, or per cent of oxygen."""
        if isinstance(one, OxygenReading):
            return _number(one.percent)
        instrument = self.setting.instruments[one.instrument]
        return highest_ppm(one, instrument, self.setting.molar_mass_g_mol)

    def _contradicted(self, kind: type[Reading], passes: Sequence[Reading]) -> list[str]:
        """Whether sound readings of one zone say different things of one moment."""
        said = [(one.taken_at, self._says(one)) for one in passes]
        may_differ = OXYGEN_APART if kind is OxygenReading else GAS_APART * self.rule.limit_ppm
        by_meter = {
            (one.taken_at, one.instrument, self._says(one))
            for one in passes
            if isinstance(one, GasReading)
        }
        moments = {(at, instrument) for at, instrument, _ in by_meter}
        if _widest(said) > may_differ or len(moments) < len(by_meter):
            return [
                f"zone {passes[0].zone}: two readings of one moment contradict each other; "
                "find the wrong instrument, then hold closed again"
            ]
        return []

    # --- signed --------------------------------------------------------------------------------

    def why_void(self, signature: Signature) -> str | None:
        """Why what somebody signed does not stand, now that everything measured is in order."""
        then = self.as_had(signature.seen_to or self.setting.now)
        if then.amiss():
            return "not all that is measured was in order then"
        if then.digest() != signature.readings:
            return "it was for other readings, or a dose, hold or instrument was recorded since"
        newest: dict[_Place, datetime] = {}
        signed: dict[_Place, Decimal] = defaultdict(Decimal)
        for one in then.passes:
            place = type(one), one.zone
            newest[place] = one.taken_at
            if then.setting.now - one.taken_at < self.fresh:
                signed[place] = max(signed[place], self._says(one))
        came: list[Reading] = [*self.run.gas, *self.run.oxygen]
        later = [one for one in came if one.received_at > then.setting.now]
        for one in sorted(later, key=lambda one: one.received_at):
            place = type(one), one.zone
            harm = self._unsound(one) or self._harm(one, newest[place], signed[place])
            if harm is not None:
                return harm
            newest[place] = max(newest[place], one.taken_at)
        return None

    def _harm(self, one: Reading, newest: datetime, signed: Decimal) -> str | None:
        """Why a sound reading that came in after the signature voids it.

        Args:
            one: the reading.
            newest: when the newest reading of its zone before it was taken.
            signed: the highest reading of its zone that was fresh when it was signed.
        """
        where = f"zone {one.zone}"
        if self._late(one):
            late = _span(self.rule.fresh_s)
            return f"{where}: a reading came in {late} or more after it was taken"
        if newest - one.taken_at > CLOCK_SKEW:
            return f"{where}: a reading came in that is older than one before it"
        if one.taken_at - newest >= self.fresh:
            return f"{where}: there was no reading for {_span(self.rule.fresh_s)} or more"
        if isinstance(one, GasReading) and self._says(one) > signed:
            return f"{where} read {one.value} {one.unit} later, higher than what was signed"
        return None


def _by_place(readings: Iterable[Reading]) -> defaultdict[_Place, list[Reading]]:
    places: defaultdict[_Place, list[Reading]] = defaultdict(list)
    for one in readings:
        places[type(one), one.zone].append(one)
    return places


def _widest(said: Iterable[tuple[datetime, Decimal]]) -> Decimal:
    """The most by which two values differ that are at most ``CLOCK_SKEW`` apart.

    ``said`` comes oldest first. Of the values in reach, only those are kept that are higher (or
    lower) than all after them; so a long series takes no longer than reading it.
    """
    widest = Decimal(0)
    high: deque[tuple[datetime, Decimal]] = deque()
    low: deque[tuple[datetime, Decimal]] = deque()
    for at, value in said:
        for kept, beyond in ((high, ge), (low, le)):
            while kept and beyond(value, kept[-1][1]):
                kept.pop()
            kept.append((at, value))
            while at - kept[0][0] > CLOCK_SKEW:
                kept.popleft()
        widest = max(widest, high[0][1] - low[0][1])
    return widest


def highest_ppm(
    reading: GasReading, instrument: Instrument, molar_mass_g_mol: float | None
) -> Decimal:
    """The most that ``reading`` can mean, in ppm by volume; ``ANYTHING`` when it means nothing.

    A value below detection counts as the detection limit. A conversion from mg/m³ (ideal gas, at
    the reading's own temperature and pressure) is rounded up to 0.0001 ppm, never down past a
    limit.
    """
    if reading.unit not in {"ppm", "mg/m3"}:
        return ANYTHING
    if reading.value == "<LOD":
        return _number(instrument.detection_limit_ppm)
    value = _number(reading.value)
    if reading.unit == "ppm":
        return value
    try:
        ppm = ppm_from_mg_m3(
            float(value),
            float(molar_mass_g_mol or 0),
            float(reading.temperature_c),
            float(reading.pressure_pa),
        )
    except ValueError:
        return ANYTHING
    return Decimal(repr(float(ppm))).quantize(Decimal("0.0001"), rounding=ROUND_UP)


def _number(text: str) -> Decimal:
    """``text`` as a number that is not negative; ``ANYTHING`` when it is no such thing."""
    try:
        value = Decimal(text)
        return value if value >= 0 else ANYTHING
    except InvalidOperation:  # no number, or one that can't be compared
        return ANYTHING


def _span(seconds: int) -> str:
    """A length of time in words."""
    if seconds % 3600 == 0 and seconds >= 3600:
        return f"{seconds // 3600} h"
    if seconds >= 120:
        return f"{seconds // 60} min"
    return f"{seconds} s"
