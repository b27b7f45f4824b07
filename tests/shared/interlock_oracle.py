"""The clearance rule said a second time, plainly, and kept apart from the interlock's own code.

What happened to a run is a list of facts in the order in which they came in. The rule is asked of
the facts themselves: each condition is one sentence and one function here, every pair of readings
is compared with every other, and a signature is judged by going through what came in after it.
Nothing is taken from ``shared.clearance`` but the types that its callers hand it.
"""

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal, InvalidOperation
from hashlib import sha256
from itertools import combinations
from unicodedata import normalize

from shared.clearance import Clearance, Setting
from shared.events import Mass
from shared.programmes import ClearanceRule, Programme
from shared.records import (
    Dose,
    GasReading,
    Hold,
    Instrument,
    OxygenReading,
    PhaseChange,
    Run,
    Signature,
)
from shared.vocabulary import Agent, Phase, Role, Target

Judge = Callable[[Run, Programme | None, Setting], Clearance]

GAS, MOLAR_MASS = "sulfuryl_fluoride", 102.06
ZONES = ("low", "high")
LICENCES = {"L-1": date(2032, 1, 1), "L-0": date(2031, 5, 5), "L-today": date(2031, 5, 6)}
"""In force, run out, and in force for the last day."""
TWO_MINUTES = timedelta(minutes=2)
MOLAR_GAS_CONSTANT = 8.314462618
"""The molar gas constant, J/(mol·K) (CODATA 2018, exact)."""


def rule(**changes: object) -> ClearanceRule:
    """An invented rule: 1 ppm, a reading counts for 15 min, 2 h closed, passes 1 h apart."""
    usual: dict[str, object] = {
        "gas": GAS,
        "limit_ppm": Decimal(1),
        "compare": "at_most",
        "cited_from": "invented",
        "fresh_s": 900,
        "closed_hold_s": 7200,
        "passes_apart_s": 3600,
    }
    return ClearanceRule.model_validate(usual | changes)


def programme(of: ClearanceRule) -> Programme:
    """An invented programme around a rule."""
    return Programme(
        id="p",
        version=1,
        label="Invented",
        family="gas",
        agent=Agent.OZONE,
        targets=(Target.SMOKE_ODOUR,),
        concentration_ppm=(Decimal(1), Decimal(2)),
        dose_ppm_h=(Decimal(1), Decimal(9)),
        temperature_c=(15, 25),
        rh=(0.3, 0.6),
        run_min=(60, 600),
        clearance=of,
        signed_by="Invented Person",
        licence_no="L-1",
        jurisdiction="Invented",
        expires=date(2032, 1, 1),
    )


# --- facts ------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Read:
    """A reading of ``kind`` gas or oxygen: what it shows, when it was taken and came in."""

    kind: str
    zone: str
    text: str
    taken: datetime
    had: datetime
    meter: str = "m"
    unit: str = "ppm"
    temperature_c: str = "20"
    pressure_pa: str = "101325"


@dataclass(frozen=True)
class Dosed:
    """Agent went in at a moment, which became known at another, if that was kept."""

    at: datetime
    had: datetime | None


@dataclass(frozen=True)
class Entered:
    """The run entered a phase."""

    phase: Phase
    at: datetime


@dataclass(frozen=True)
class Held:
    """The chamber stood closed."""

    starts: datetime
    ends: datetime


@dataclass(frozen=True)
class Registered:
    """A meter: its gas, the least it sees, and until when it is in calibration."""

    meter: str
    gas: str
    sees: str
    until: datetime


@dataclass(frozen=True)
class Signed:
    """A name under the page as it was after the first ``looked`` facts.

    Anyone can write out the digest, so that somebody may sign what was never offered.
    """

    name: str
    account: str
    role: Role
    licence: str
    looked: int
    says_when: bool = True


Fact = Read | Dosed | Entered | Held | Registered | Signed


@dataclass(frozen=True)
class Story:
    """What happened to a run, and the rule it has to be cleared by."""

    facts: tuple[Fact, ...]
    rule: ClearanceRule
    zones: tuple[str, ...] = ZONES
    molar_mass: float = MOLAR_MASS
    licences: Mapping[str, date] = field(default_factory=lambda: LICENCES)

    def then(self, *facts: Fact) -> "Story":
        """What happened next."""
        return replace(self, facts=self.facts + facts)

    def first(self, count: int) -> "Story":
        """Only what came in first."""
        return replace(self, facts=self.facts[:count])

    @property
    def reads(self) -> list[Read]:
        """Every reading."""
        return [one for one in self.facts if isinstance(one, Read)]

    def meter(self, name: str) -> Registered | None:
        """What is on file for a meter."""
        found = [one for one in self.facts if isinstance(one, Registered) and one.meter == name]
        return found[-1] if found else None


# --- the rule ---------------------------------------------------------------------------------


def number(text: str) -> Decimal | None:
    """What a text says in figures, if it does."""
    try:
        value = Decimal(text)
    except InvalidOperation:
        return None
    return value if value.is_finite() and not value.is_signed() else None


def says(story: Story, one: Read) -> Decimal | None:
    """Per cent of oxygen, or the most ppm of gas that a reading can mean."""
    if one.kind == "oxygen":
        return number(one.text)
    meter = story.meter(one.meter)
    if one.unit == "ppm":
        if one.text == "<LOD":
            return number(meter.sees) if meter else None
        return number(one.text)
    if one.unit == "mg/m3":
        mass = number(one.text)
        if mass is None:
            return None
        try:
            kelvin, pascal = float(one.temperature_c) + 273.15, float(one.pressure_pa)
        except ValueError:
            return None
        if pascal <= 0:
            return None
        ppm = float(mass) * MOLAR_GAS_CONSTANT * kelvin * 1000 / (story.molar_mass * pascal)
        return Decimal(ppm)
    return None


def last_gas_or_airing(story: Story) -> datetime:
    """Only what was read after this can count."""
    entered = [one.at for one in story.facts if isinstance(one, Entered)]
    dosed = [max(one.at, one.had or one.at) for one in story.facts if isinstance(one, Dosed)]
    return max([*entered, *dosed])


def hold_over(story: Story, now: datetime) -> datetime | None:
    """When the last closed hold had lasted as long as it must."""
    need = timedelta(seconds=story.rule.closed_hold_s)
    over = [
        one.starts + need
        for one in story.facts
        if isinstance(one, Held)
        and one.starts > last_gas_or_airing(story)
        and one.ends >= one.starts + need
        and now >= one.starts + need
    ]
    return max(over) if over else None


def believed(story: Story, one: Read, now: datetime) -> bool:
    """A reading is of a zone of the chamber, dated in no future, and within what is allowed."""
    if one.zone not in story.zones or one.had > now or one.taken > one.had + TWO_MINUTES:
        return False
    shown = says(story, one)
    if shown is None:
        return False
    if one.kind == "oxygen":
        return Decimal("19.5") <= shown <= Decimal("23.5")
    meter, limit = story.meter(one.meter), story.rule.limit_ppm
    if meter is None or meter.gas != story.rule.gas or not meter.until > now:
        return False
    sees = number(meter.sees)
    if sees is None or sees > limit:
        return False
    return shown < limit or (shown == limit and story.rule.compare == "at_most")


def agree(story: Story, one: Read, other: Read) -> bool:
    """Two readings of one zone do not contradict each other."""
    if (one.kind, one.zone) != (other.kind, other.zone):
        return True
    a, b = says(story, one), says(story, other)
    if a is None or b is None or abs(one.taken - other.taken) > TWO_MINUTES:
        return True
    if one.kind == "oxygen":
        return abs(a - b) <= 1
    same_meter_and_moment = one.meter == other.meter and one.taken == other.taken
    return abs(a - b) * 2 <= story.rule.limit_ppm and (a == b or not same_meter_and_moment)


def conditions(story: Story, now: datetime) -> dict[str, bool]:
    """Each thing that has to be measured, by name, and whether it holds."""
    entered = [one for one in story.facts if isinstance(one, Entered)]
    if not entered or entered[-1].phase is not Phase.AIRING:
        return {"airing": False}
    over = hold_over(story, now)
    if over is None:
        return {"airing": True, "held": False}
    fresh = timedelta(seconds=story.rule.fresh_s)
    apart = timedelta(seconds=story.rule.passes_apart_s)
    since = [one for one in story.reads if one.taken >= over]
    holds = {"airing": True, "held": True, "zones": bool(story.zones)}
    for zone in story.zones:
        gas = [one for one in since if one.zone == zone and one.kind == "gas"]
        air = [
            one
            for one in story.reads
            if one.zone == zone and one.kind == "oxygen" and one.taken > last_gas_or_airing(story)
        ]
        in_time = [one.taken for one in gas if one.had - one.taken < fresh]
        holds[f"{zone}: two passes"] = len(in_time) >= 2 and max(in_time) - min(in_time) >= apart
        holds[f"{zone}: gas is fresh"] = any(now - one.taken < fresh for one in gas)
        holds[f"{zone}: oxygen is fresh"] = any(now - one.taken < fresh for one in air)
    holds["all is believed"] = all(believed(story, one, now) for one in since)
    holds["all agree"] = all(agree(story, *two) for two in combinations(since, 2))
    return holds


def in_order(story: Story, now: datetime) -> bool:
    """All that has to be measured is, and is as it must be."""
    return all(conditions(story, now).values())


def stands(story: Story, name: Signed, now: datetime) -> bool:
    """A signature was put under a page that was in order, and nothing odd came in since."""
    page = story.first(name.looked)
    if not page.reads:
        return False
    newest_had = max(one.had for one in page.reads)
    if not in_order(page, newest_had):
        return False
    over = hold_over(page, newest_had)
    fresh = timedelta(seconds=story.rule.fresh_s)
    so_far = [one for one in page.reads if over is not None and one.taken >= over]
    was_fresh = [one for one in so_far if newest_had - one.taken < fresh]
    after = story.facts[name.looked :]
    if any(isinstance(one, Dosed | Entered | Held | Registered) for one in after):
        return False
    later = [one for one in after if isinstance(one, Read)]
    if later and not name.says_when:
        return False
    for one in sorted(later, key=lambda one: one.had):
        if one.had <= newest_had or not believed(story, one, now):
            return False
        of_zone = [x.taken for x in so_far if (x.kind, x.zone) == (one.kind, one.zone)]
        if (
            one.had - one.taken >= fresh  # late
            or one.taken + TWO_MINUTES < max(of_zone)  # out of order
            or one.taken - max(of_zone) >= fresh  # nothing was heard for too long
        ):
            return False
        highest = [says(story, x) or Decimal(0) for x in was_fresh if x.zone == one.zone
                   and x.kind == "gas"]  # fmt: skip
        if one.kind == "gas" and (says(story, one) or Decimal(0)) > max(highest):
            return False
        so_far.append(one)
    return True


def standing(story: Story, now: datetime) -> list[Signed]:
    """The signatures that count, once all is in order."""
    return [one for one in story.facts if isinstance(one, Signed) and stands(story, one, now)]


def plain(name: str) -> str:
    """A name as it sounds: no capitals, single spaces, each letter with its marks as one."""
    return normalize("NFC", " ".join(name.lower().split()))


def may_open(story: Story, now: datetime) -> bool:
    """The whole rule."""
    if not in_order(story, now):
        return False
    names = standing(story, now)
    return (
        len({plain(one.name) for one in names}) >= 2
        and len({plain(one.account) for one in names}) >= 2
        and any(
            one.role is Role.FUMIGATOR and story.licences.get(one.licence, date.min) >= now.date()
            for one in names
        )
    )


# --- acting it out ----------------------------------------------------------------------------


def setting(story: Story, now: datetime) -> Setting:
    """What the interlock has to know beside the run."""
    meters = {one.meter: one for one in story.facts if isinstance(one, Registered)}
    return Setting(
        zones=story.zones,
        gas=story.rule.gas,
        molar_mass_g_mol=story.molar_mass,
        instruments={
            name: Instrument(
                instrument=name,
                gas=one.gas,
                detection_limit_ppm=one.sees,
                calibrated_until=one.until,
            )
            for name, one in meters.items()
        },
        licences=story.licences,
        now=now,
    )


def acted_out(story: Story, judge: Judge | None = None) -> Run:
    """The records that the service would keep of these facts.

    People sign the digest that ``judge`` shows them, or one written out by hand if it shows none.
    """
    run = Run(run="r", programme="p")
    for number_, one in enumerate(story.facts):
        match one:
            case Entered():
                run.phases.append(PhaseChange(phase=one.phase, at=one.at, actor="a"))
            case Dosed():
                mass = Mass(value="1", unit="g")
                run.doses.append(Dose(mass=mass, at=one.at, received_at=one.had))
            case Held():
                run.holds.append(Hold(starts_at=one.starts, ends_at=one.ends))
            case Registered():
                pass
            case Signed():
                run.signatures.append(_signature(story, one, judge))
            case Read(kind="gas"):
                run.gas.append(
                    GasReading(
                        reading=f"r{number_}",
                        event=f"e{number_:04}",
                        zone=one.zone,
                        instrument=one.meter,
                        value=one.text,
                        unit=one.unit,
                        temperature_c=one.temperature_c,
                        pressure_pa=one.pressure_pa,
                        taken_at=one.taken,
                        received_at=one.had,
                    )
                )
            case Read():
                run.oxygen.append(
                    OxygenReading(
                        event=f"e{number_:04}",
                        zone=one.zone,
                        percent=one.text,
                        taken_at=one.taken,
                        received_at=one.had,
                    )
                )
    return run


def _signature(story: Story, signed: Signed, judge: Judge | None) -> Signature:
    page = story.first(signed.looked)
    newest = max((one.had for one in page.reads), default=DAY)
    shown = None
    if judge is not None:
        run = acted_out(page, judge)
        shown = judge(run, programme(page.rule), setting(page, newest)).readings
    return Signature(
        signer=signed.name,
        actor=signed.account,
        role=signed.role,
        licence_no=signed.licence,
        readings=shown or digest_by_hand(page, newest),
        seen_to=newest if signed.says_when else None,
        at="2031-05-06T00:00:00Z",
    )


def digest_by_hand(page: Story, now: datetime) -> str:
    """What there is to sign, written out as anyone can: sorted keys, no white space, UTF-8."""
    run = acted_out(page)
    over = hold_over(page, now)
    every: Sequence[GasReading | OxygenReading] = [*run.gas, *run.oxygen]
    since = sorted(
        (one for one in every if over is not None and one.taken_at >= over),
        key=lambda one: (one.taken_at, one.event),
    )
    written = {
        "rule": json.loads(page.rule.model_dump_json()),
        "zones": list(page.zones),
        "since": last_gas_or_airing(page).isoformat(),
        "doses": [json.loads(one.model_dump_json()) for one in run.doses],
        "holds": [json.loads(one.model_dump_json()) for one in run.holds],
        "instruments": {
            name: json.loads(one.model_dump_json())
            for name, one in setting(page, now).instruments.items()
        },
        "heard": len(every),
        "readings": _sha256("\n".join(one.model_dump_json() for one in since)),
    }
    return _sha256(json.dumps(written, sort_keys=True, separators=(",", ":"), ensure_ascii=False))


def _sha256(text: str) -> str:
    return sha256(text.encode()).hexdigest()


# --- one that is as it should be --------------------------------------------------------------

DAY = datetime(2031, 5, 6, tzinfo=UTC)
"""Midnight before the invented run."""


def at(clock: str) -> datetime:
    """A moment of that day, as ``17:20`` or ``17:20:30``."""
    hours, minutes, *seconds = (int(one) for one in clock.split(":"))
    return DAY + timedelta(hours=hours, minutes=minutes, seconds=seconds[0] if seconds else 0)


METER = Registered("m", GAS, "0.05", datetime(2031, 12, 1, tzinfo=UTC))


def passing(
    clock: str | datetime, text: str = "0.4", oxygen: str = "20.9", **facts: object
) -> tuple[Read, ...]:
    """Gas and oxygen in both zones, read and had at one moment."""
    moment = at(clock) if isinstance(clock, str) else clock
    return tuple(
        replace(Read(kind, zone, said, moment, moment), **facts)  # type: ignore[arg-type]
        for zone in ZONES
        for kind, said in (("gas", text), ("oxygen", oxygen))
    )


FAY = ("Fay Gas", "fay", Role.FUMIGATOR, "L-1")
ADA = ("Ada Lead", "ada", Role.LEAD, "")


def signed(story: Story, *people: tuple[str, str, Role, str]) -> Story:
    """People sign the page as it is: the licensed fumigator and the lead, unless they are named."""
    return story.then(*(Signed(*one, len(story.facts)) for one in people or (FAY, ADA)))


def airing(of: ClearanceRule | None = None) -> Story:
    """A run that has been dosed and is being aired, and its meter."""
    return Story(
        (
            METER,
            Entered(Phase.DOSING, at("8:00")),
            Dosed(at("8:00"), at("8:00")),
            Entered(Phase.AIRING, at("9:00")),
        ),
        of or rule(),
    )


def measured(of: ClearanceRule | None = None) -> Story:
    """It was held closed and measured twice since, last at 13:30."""
    story = airing(of).then(Held(at("10:00"), at("12:00")))
    return story.then(*passing("12:10"), *passing("13:30"))


def cleared() -> Story:
    """Two people have signed what was read at 13:30."""
    return signed(measured())
