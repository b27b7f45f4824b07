"""What the log says, folded into records: loss, piece, manifest, run, facility, phone.

A fold sorts the events of one record by their order (see :mod:`shared.events`) and applies them
once each, so that any arrival order and any repetition give the same record.

A field that two devices set without having seen each other's value keeps both: the later in the
order is shown, and the field is listed as a conflict until somebody who saw both settles it.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from hashlib import sha256
from typing import Any, TypeVar

from pydantic import BaseModel, ConfigDict, Field

from shared import events as ev
from shared.facility import Chamber, Facility
from shared.facts import MouldConditionNumber
from shared.programmes import Programme
from shared.vocabulary import (
    Agent,
    AreaResult,
    Damage,
    Decision,
    Extent,
    Hazard,
    Material,
    Measure,
    MoistureScale,
    ObjectType,
    PartRole,
    Peril,
    Phase,
    PhotoKind,
    PlanEditKind,
    Role,
    Significance,
    StepKind,
    StudioTask,
    ValueBasis,
    WaterCategory,
)

UNDOABLE = (
    ev.ItemDescribed,
    ev.DamageNoted,
    ev.DamageWithdrawn,
    ev.PhotoTaken,
    ev.ValueStated,
    ev.ItemPacked,
    ev.ItemMoved,
    ev.HazardNoted,
    ev.ChargeAdded,
)
"""What its writer may take back. Tags, hand-overs, readings and signatures are corrected by a new
event, never by undoing; only a claim of a tag tied to two pieces may be given up to the other."""


@dataclass(frozen=True)
class Entry:
    """One event as the log keeps it: where it stands and when it came in."""

    position: int
    received_at: datetime
    digest: str
    event: ev.Event
    body: ev.Body | None


class Record(BaseModel):
    """Base of every record."""

    model_config = ConfigDict(extra="forbid")


R = TypeVar("R", bound=Record)


class Said(Record):
    """One value somebody gave a field."""

    event: str
    device: str
    actor: str
    value: Any


class Conflict(Record):
    """A field with several values whose writers had not seen each other's."""

    field: str
    values: list[Said]


class DamageSeen(Record):
    """One kind of damage on a piece, from every note of it that still stands."""

    damage: Damage
    extent: Extent
    wet_since: datetime | None
    water_category: WaterCategory | None
    mould_condition: MouldConditionNumber | None = None
    note: str


class Photo(Record):
    """A photo of a piece."""

    photo: str
    kind: PhotoKind
    caption: str
    taken_at: str
    actor: str


class Valuation(Record):
    """A stated value."""

    basis: ValueBasis
    value: ev.Money
    loss_in_value: ev.Money | None
    stated_by: str


class Weighing(Record):
    """A mass at a time."""

    mass: ev.Mass
    taken_at: datetime
    instrument: str = ""


class MoistureReading(Record):
    """What a moisture meter showed at one spot; without a scale, per cent of the dry mass."""

    percent: str
    scale: MoistureScale | None = None
    method: str
    spot: str
    taken_at: datetime


class SurfaceReading(Record):
    """The air at the surface of a piece."""

    temperature: str
    unit: ev.TemperatureUnit
    rh_percent: str
    spot: str
    instrument: str
    taken_at: datetime


class Step(Record):
    """A finished step."""

    step: StepKind
    started_at: datetime
    ended_at: datetime
    hours: str | None
    note: str
    actor: str


class AreaTest(Record):
    """How a method came out on a small area."""

    task: StudioTask
    method: str
    spot: str
    result: AreaResult
    tested_by: str
    note: str
    photo: str | None
    at: str


class TaskDone(Record):
    """A finished task at the bench."""

    task: StudioTask
    method: str
    done_by: str
    hours: str
    used: str
    note: str
    photo: str | None
    at: str


class StudioSheet(Record):
    """What is still to do to a piece at the bench, by whose word, and what was done."""

    listed: str | None = Field(default=None, description="The event that signed the list.")
    signed_by: str = ""
    signed_at: str = ""
    note: str = ""
    open: list[ev.PlannedTask] = Field(default_factory=list)
    tests: list[AreaTest] = Field(default_factory=list)
    done: list[TaskDone] = Field(default_factory=list)

    def planned(self, task: StudioTask) -> ev.PlannedTask | None:
        """The task as it stands open on the list, or ``None``."""
        return next((one for one in self.open if one.task is task), None)

    @property
    def open_tasks(self) -> list[StudioTask]:
        """What is still to do, as it was listed."""
        return [one.task for one in self.open]

    def results(self, task: StudioTask, method: str) -> list[AreaResult]:
        """How the method came out on small areas, in the order of the log."""
        return [one.result for one in self.tests if (one.task, one.method) == (task, method)]


class Charge(Record):
    """A cost line."""

    charge: str
    what: str
    step: StepKind | None
    quantity: str
    unit: str
    rate: ev.Money


class Verdict(Record):
    """The adjuster's decision on a piece."""

    decision: Decision
    reason: str
    decided_by: str
    at: str


class Custody(Record):
    """One line of a piece's custody: who did what to it, when, under which event."""

    event: str
    type: str
    at: str
    actor: str
    role: Role


class Item(Record):
    """Everything the log says about one piece."""

    tag: str
    tags: list[str] = Field(default_factory=list, description="Every tag it has carried.")
    loss: str | None = None
    claim: str | None = None
    parent: str | None = None
    role: PartRole | None = None
    quantity: int = 1
    object_type: ObjectType = ObjectType.OTHER
    materials: list[Material] = Field(default_factory=list)
    title: str = ""
    maker: str = ""
    period: str = ""
    subject: str = ""
    medium: str = ""
    inscriptions: str = ""
    features: str = ""
    description: str = ""
    size: ev.Size | None = None
    found: ev.Spot = ev.Spot()
    significance: Significance = Significance.ORDINARY
    conservator_only: bool = False
    damages: list[DamageSeen] = Field(default_factory=list)
    photos: list[Photo] = Field(default_factory=list)
    valuation: Valuation | None = None
    container: str | None = None
    manifest: str | None = None
    station: str | None = None
    station_since: str | None = None
    run: str | None = Field(
        default=None, description="The run it was loaded for, till it is moved elsewhere."
    )
    received_at: str | None = None
    condition_at_receipt: str = ""
    damaged_in_transit: bool | None = None
    placed_because: str = Field(default="", description="Why it stands there against advice.")
    weighings: list[Weighing] = Field(default_factory=list)
    moisture: list[MoistureReading] = Field(default_factory=list)
    surface: list[SurfaceReading] = Field(default_factory=list)
    steps: list[Step] = Field(default_factory=list)
    studio: StudioSheet = Field(default_factory=StudioSheet)
    runs: list[str] = Field(default_factory=list)
    overrides: list["OverrideOnFile"] = Field(default_factory=list)
    charges: list[Charge] = Field(default_factory=list)
    decision: Verdict | None = None
    returned_to: str | None = None
    condition_at_return: str = ""
    heads: dict[str, list[str]] = Field(
        default_factory=dict, description="For each field the events whose values stand."
    )
    conflicts: list[Conflict] = Field(default_factory=list)
    custody: list[Custody] = Field(default_factory=list)
    undecoded: list[str] = Field(default_factory=list, description="Events of unknown type.")

    @property
    def steps_done(self) -> frozenset[StepKind]:
        """The kinds of step that are finished; the studio's is not while its list is open."""
        done = frozenset(step.step for step in self.steps)
        return done - {StepKind.STUDIO} if self.studio.open else done


class OverrideOnFile(Record):
    """A conservator's signed override that names this piece."""

    override: str
    agent: Agent
    materials: list[Material]
    reason: str
    signed_by: str
    role: Role
    signed_at: str
    expires: date


class Claim(Record):
    """A claim under one policy."""

    claim: str
    insurer: str
    policy: str
    owner: str
    currency: str


class Authorisation(Record):
    """Leave to take pieces away."""

    given_by: str
    covers: str
    document: str | None
    at: str


class Loss(Record):
    """One site and what befell it."""

    loss: str
    title: str = ""
    site: str = ""
    zone: str = "UTC"
    peril: Peril = Peril.OTHER
    happened_at: datetime | None = None
    wet_since: datetime | None = None
    water_category: WaterCategory | None = None
    mean_temperature_c: str | None = None
    hazards: list[Hazard] = Field(default_factory=list)
    claims: list[Claim] = Field(default_factory=list)
    authorisations: list[Authorisation] = Field(default_factory=list)
    acknowledged: dict[str, list[str]] = Field(default_factory=dict)
    manifests: list[str] = Field(default_factory=list)


class Handover(Record):
    """A load passed on."""

    given_by: str
    taken_by: str
    signature: str | None
    at: str


class Told(Record):
    """Who was told of pieces that did not come."""

    tags: list[str]
    told: str
    note: str
    by: str
    at: str


class Manifest(Record):
    """What goes on one truck, and where it has got to."""

    manifest: str
    loss: str | None = None
    vehicle: str = ""
    tags: list[str] = Field(default_factory=list)
    leaves_at: datetime | None = None
    expected_at: datetime | None = None
    delays: list[str] = Field(default_factory=list)
    handovers: list[Handover] = Field(default_factory=list)
    received: list[str] = Field(default_factory=list)
    told: list[Told] = Field(default_factory=list)

    @property
    def untold(self) -> list[str]:
        """Missing, and nobody has been told of it yet."""
        known = {tag for one in self.told for tag in one.tags}
        return [tag for tag in self.missing if tag not in known]

    @property
    def is_closed(self) -> bool:
        """Whether the truck came and all on its list is accounted for."""
        return bool(self.received or self.told) and not self.untold

    @property
    def missing(self) -> list[str]:
        """Listed and not received."""
        return [tag for tag in self.tags if tag not in set(self.received)]

    @property
    def surplus(self) -> list[str]:
        """Received and not listed."""
        return [tag for tag in self.received if tag not in set(self.tags)]


class GasReading(Record):
    """One gas reading, with the time the service first had it."""

    reading: str
    event: str
    zone: str
    instrument: str
    value: str
    unit: str
    temperature_c: str
    pressure_pa: str
    taken_at: datetime
    received_at: datetime


class ClimateReading(Record):
    """Temperature, humidity or both in a zone."""

    zone: str
    sensor: str | None = None
    temperature_c: str | None
    rh_percent: str | None
    taken_at: datetime


class OxygenReading(Record):
    """Oxygen in a zone."""

    event: str
    zone: str
    sensor: str | None = None
    percent: str
    taken_at: datetime
    received_at: datetime


Sample = GasReading | ClimateReading | OxygenReading


class AirReading(Record):
    """One thing measured in the air of a place outside a run, and who sent it."""

    event: str
    sensor: str | None
    instrument: str
    zone: str
    value: str
    unit: ev.AirUnit
    taken_at: datetime
    received_at: datetime
    actor: str


class PhaseChange(Record):
    """A phase and when it began."""

    phase: Phase
    at: datetime
    actor: str
    reason: str = ""


class CheckDone(Record):
    """One check before dosing, who did it and when."""

    check: str
    actor: str
    at: datetime


class Dose(Record):
    """Agent introduced, and when the service first knew of it."""

    mass: ev.Mass
    at: datetime
    received_at: datetime | None = None


class Hold(Record):
    """A closed hold with airing off."""

    starts_at: datetime
    ends_at: datetime


class Signature(Record):
    """A name under one exact set of readings."""

    signer: str
    actor: str
    role: Role
    licence_no: str
    readings: str
    seen_to: datetime | None = None
    at: str


class RunSheet(Record):
    """A chamber run from loading to unloading, without what was measured in it."""

    run: str
    station: str = ""
    programme: str = ""
    version: int = 1
    tags: list[str] = Field(default_factory=list)
    loaded: list[str] = Field(default_factory=list)
    phases: list[PhaseChange] = Field(default_factory=list)
    checks: list[CheckDone] = Field(
        default_factory=list,
        description="Checks before dosing since the chamber was last sealed or aired.",
    )
    doses: list[Dose] = Field(default_factory=list)
    holds: list[Hold] = Field(default_factory=list)
    signatures: list[Signature] = Field(default_factory=list)
    opened_at: datetime | None = None
    opened_on: str | None = None

    @property
    def phase(self) -> Phase:
        """The phase the run is in now."""
        return self.phases[-1].phase if self.phases else Phase.PLANNED

    def began(self, phase: Phase) -> datetime | None:
        """When the run last entered ``phase``."""
        times = [change.at for change in self.phases if change.phase is phase]
        return times[-1] if times else None


class Run(RunSheet):
    """A chamber run with everything that was measured in it, in the order of the log."""

    gas: list[GasReading] = Field(default_factory=list)
    climate: list[ClimateReading] = Field(default_factory=list)
    oxygen: list[OxygenReading] = Field(default_factory=list)

    def sheet(self) -> RunSheet:
        """The run without what was measured."""
        return RunSheet.model_validate(
            {name: getattr(self, name) for name in RunSheet.model_fields}
        )


class Closure(Record):
    """A station out of use."""

    station: str
    starts_at: datetime
    ends_at: datetime
    reason: str


class ProgrammeSignature(Record):
    """That a version of a programme was signed: by whom, when, and with what document."""

    programme: str
    version: int
    signed_by: str
    signed_at: datetime
    document: str | None = None


class Instrument(Record):
    """A gas instrument."""

    instrument: str
    gas: str
    detection_limit_ppm: str
    calibrated_until: datetime


class PlanEdit(Record):
    """What a person told the planner, and whether it still counts."""

    edit: str
    kind: PlanEditKind
    pieces: tuple[str, ...]
    step: str | None = None
    station: str | None = None
    not_before: datetime | None = None
    waits_for: str = ""
    placed: tuple[ev.PlannedPlace, ...] = ()
    others: tuple[str, ...] = ()
    reason: str
    actor: str
    at: str
    withdrawn: bool = False


class PlanAct(Record):
    """Something decided about the plan or what it rests on: by whom, and in a few words."""

    event: str
    at: str
    actor: str
    words: str


class FacilityBook(Record):
    """The facility as the log describes it."""

    facility: Facility | None = None
    closures: list[Closure] = Field(default_factory=list)
    programmes: list[Programme] = Field(default_factory=list)
    signatures: list[ProgrammeSignature] = Field(default_factory=list)
    instruments: list[Instrument] = Field(default_factory=list)
    plan: str | None = None
    problem: str | None = None
    plans_adopted: int = 0
    edits: list[PlanEdit] = Field(default_factory=list)
    plan_acts: list[PlanAct] = Field(default_factory=list)

    @property
    def plan_seen(self) -> str:
        """A digest of all that was decided about the plan so far."""
        return _acts_digest(self.plan_acts)

    def decided_since(self, seen: str) -> list[PlanAct]:
        """What was decided since a reader saw ``seen``; all, if nobody can have seen that."""
        for count in range(len(self.plan_acts), -1, -1):
            if _acts_digest(self.plan_acts[:count]) == seen:
                return self.plan_acts[count:]
        return list(self.plan_acts)

    def programme(self, programme_id: str, version: int | None = None) -> Programme | None:
        """The named version of a programme, or its newest; ``None`` if there is none."""
        found = [
            programme
            for programme in self.programmes
            if programme.id == programme_id and version in (None, programme.version)
        ]
        return max(found, key=lambda programme: programme.version, default=None)

    def chamber(self, station: str) -> Chamber | None:
        """The chamber with this id, if the facility has one."""
        chambers = self.facility.chambers if self.facility else ()
        return next((chamber for chamber in chambers if chamber.id == station), None)

    def newest_programmes(self) -> list[Programme]:
        """The newest version of every programme."""
        newest: dict[str, Programme] = {}
        for programme in self.programmes:
            if programme.id not in newest or newest[programme.id].version < programme.version:
                newest[programme.id] = programme
        return list(newest.values())

    def instrument(self, name: str) -> Instrument | None:
        """The latest registration of an instrument."""
        found = [instrument for instrument in self.instruments if instrument.instrument == name]
        return found[-1] if found else None


class Phone(Record):
    """A crew's phone: its name, its key, and whether it may still write."""

    phone: str
    name: str = ""
    holder: str = ""
    key: ev.PhoneKey
    enrolled_at: str
    enrolled_by: str
    revoked_at: str | None = None
    revoked_by: str = ""
    revoked_because: str = ""


class Sensor(Record):
    """A sensor as last described: where it stands, what it measures, how far it can be trusted."""

    sensor: str
    name: str
    station: str
    zone: str
    measures: list[Measure]
    gas: str | None
    calibrated_until: datetime
    least_seen: str | None
    placed_at: str
    placed_by: str


def _acts_digest(acts: Sequence[PlanAct]) -> str:
    return sha256("\n".join(act.event for act in acts).encode()).hexdigest()


def standing(entries: Iterable[Entry]) -> list[Entry]:
    """The events in order, once each, without those that their own writer took back."""
    once = {entry.event.id: entry for entry in entries}
    ordered = sorted(once.values(), key=lambda entry: entry.event.order)
    undone = {
        (entry.event.device, entry.body.event)
        for entry in ordered
        if isinstance(entry.body, ev.EventUndone)
    }
    return [
        entry
        for entry in ordered
        if not (isinstance(entry.body, UNDOABLE) and (entry.event.device, entry.event.id) in undone)
    ]


class _Registers:
    """The standing values of each field: those that no later writer is known to have seen."""

    def __init__(self) -> None:
        self._heads: dict[str, list[tuple[Said, object]]] = {}

    def set(self, name: str, entry: Entry, value: object, replaces: tuple[str, ...]) -> None:
        """Record ``value``, which stands in place of the writer's own and of those it names."""
        said = Said(
            event=entry.event.id,
            device=entry.event.device,
            actor=entry.event.actor,
            value=_plain(value),
        )
        kept = [
            (other, shown)
            for other, shown in self._heads.get(name, [])
            if other.device != entry.event.device and other.event not in replaces
        ]
        self._heads[name] = [*kept, (said, value)]

    def shown(self) -> dict[str, object]:
        """The value to show for each field: the last in the order."""
        return {name: heads[-1][1] for name, heads in self._heads.items()}

    def heads(self) -> dict[str, list[str]]:
        """The events whose values stand."""
        return {name: [said.event for said, _ in heads] for name, heads in self._heads.items()}

    def conflicts(self) -> list[Conflict]:
        """Fields whose standing values differ."""
        return [
            Conflict(field=name, values=[said for said, _ in heads])
            for name, heads in sorted(self._heads.items())
            if any(said.value != heads[0][0].value for said, _ in heads)
        ]


def _plain(value: object) -> object:
    if isinstance(value, BaseModel):
        return value.model_dump(mode="json")
    if isinstance(value, tuple):
        return [_plain(part) for part in value]
    return str(value) if isinstance(value, ObjectType | Material | Significance) else value


_DESCRIBED = tuple(
    name for name in ev.ItemDescribed.model_fields if name not in {"type", "tag", "replaces"}
)


def fold_item(tag: str, entries: Iterable[Entry]) -> Item | None:
    """The piece first tagged ``tag``, or ``None`` while nothing has claimed that tag."""
    item = Item(tag=tag, tags=[tag])
    registers = _Registers()
    claims: list[Entry] = []
    damages: dict[Damage, DamageSeen] = {}
    told: list[ev.Body] = []
    stands = standing(entries)
    given_up = _claims_given_up(stands)
    for entry in stands:
        body = entry.body
        if body is None:
            item.undecoded.append(entry.event.id)
            continue
        told.append(body)
        item.custody.append(
            Custody(
                event=entry.event.id,
                type=body.type,
                at=entry.event.device_time,
                actor=entry.event.actor,
                role=entry.event.role,
            )
        )
        match body:
            case ev.ItemTagged() if entry.event.id in given_up:
                pass
            case ev.ItemTagged():
                _claim(item, registers, claims, entry, body)
            case ev.ItemDescribed():
                for name in _DESCRIBED:
                    value = getattr(body, name)
                    if value is not None:
                        registers.set(name, entry, value, body.replaces)
            case ev.DamageNoted():
                damages[body.damage] = _merged(damages.get(body.damage), body)
            case ev.DamageWithdrawn():
                damages.pop(body.damage, None)
            case _:
                _apply_to_item(item, entry, body)
    if not claims:
        return None
    for name, value in registers.shown().items():
        setattr(item, name, list(value) if isinstance(value, tuple) else value)
    item.manifest = _truck_of(told)
    item.damages = list(damages.values())
    item.heads = registers.heads()
    item.conflicts = registers.conflicts()
    if len(claims) > 1:
        item.conflicts.append(_claimed_twice(claims))
    return item


def _truck_of(told: Iterable[ev.Body]) -> str | None:
    """The manifest that a piece came with, or else the last that lists it.

    What came off a truck is known and a list is only meant: so the answer stays the same whether
    the two phones, one at either end, wrote before or after each other.
    """
    listed, came = None, None
    for body in told:
        match body:
            case ev.ManifestClosed():
                listed = body.manifest
            case ev.ItemReceived():
                came = body.manifest or came
            case _:
                pass
    return came or listed


def _claims_given_up(stands: Iterable[Entry]) -> frozenset[str]:
    """Claims of a tag tied to two pieces that their own writers took back.

    That is the mend: whoever ties another tag to one of the pieces gives this tag up to the
    other. When all of them were given up none is, for a tag once tied stays a piece's name.
    """
    claims: set[tuple[str, str]] = set()
    undone: set[tuple[str, str]] = set()
    for entry in stands:
        match entry.body:
            case ev.ItemTagged():
                claims.add((entry.event.device, entry.event.id))
            case ev.EventUndone(event=event):
                undone.add((entry.event.device, event))
            case _:
                pass
    given_up = claims & undone
    return frozenset(event for _, event in given_up) if given_up != claims else frozenset()


def _claim(
    item: Item, registers: _Registers, claims: list[Entry], entry: Entry, body: ev.ItemTagged
) -> None:
    claims.append(entry)
    if len(claims) > 1:
        return
    item.loss = entry.event.loss
    item.parent, item.role = body.parent, body.role
    registers.set("quantity", entry, body.quantity, ())
    registers.set("object_type", entry, body.object_type, ())
    registers.set("materials", entry, body.materials, ())
    registers.set("found", entry, body.found, ())
    if body.claim is not None:
        registers.set("claim", entry, body.claim, ())


def _claimed_twice(claims: list[Entry]) -> Conflict:
    """A tag tied to two pieces: shown to a person, never overwritten."""
    return Conflict(
        field="tag",
        values=[
            Said(
                event=claim.event.id,
                device=claim.event.device,
                actor=claim.event.actor,
                value=claim.event.body,
            )
            for claim in claims
        ],
    )


def _merged(seen: DamageSeen | None, body: ev.DamageNoted) -> DamageSeen:
    """A second note of the same damage: the later extent, the earliest wetting, the worst rest."""
    earlier = [time for time in (seen and seen.wet_since, body.wet_since) if time]
    worse = [water for water in (seen and seen.water_category, body.water_category) if water]
    mouldier = [
        number for number in (seen and seen.mould_condition, body.mould_condition) if number
    ]
    return DamageSeen(
        damage=body.damage,
        extent=body.extent,
        wet_since=min(earlier, default=None),
        water_category=max(worse, default=None),
        mould_condition=max(mouldier, default=None),
        note=body.note or (seen.note if seen else ""),
    )


def _said(kind: type[R], body: ev.Body, **more: object) -> R:
    """A record of ``kind`` with the fields it shares with ``body``, and ``more``."""
    shared = {name: getattr(body, name) for name in kind.model_fields if hasattr(body, name)}
    return kind.model_validate(shared | more)


def _apply_to_item(item: Item, entry: Entry, body: ev.Body) -> None:
    event = entry.event
    match body:
        case ev.PhotoTaken():
            item.photos.append(_said(Photo, body, taken_at=event.device_time, actor=event.actor))
        case ev.ValueStated():
            item.valuation = _said(Valuation, body)
        case ev.TagReplaced():
            item.tags.append(body.new_tag)
        case ev.ItemPacked():
            item.container = body.container
        case ev.ItemReceived():
            item.station, item.station_since = body.station, event.device_time
            item.received_at = event.device_time
            item.condition_at_receipt = body.condition
            item.damaged_in_transit = body.damaged_in_transit
            item.placed_because = body.reason
        case ev.ItemMoved():
            item.station, item.station_since = body.station, event.device_time
            item.placed_because = body.reason
            item.run = None
        case ev.OverrideSigned():
            item.overrides.append(
                _said(OverrideOnFile, body, role=event.role, signed_at=event.device_time)
            )
        case ev.Weighed():
            item.weighings.append(_said(Weighing, body))
        case ev.MoistureRead():
            item.moisture.append(_said(MoistureReading, body))
        case ev.SurfaceRead():
            item.surface.append(_said(SurfaceReading, body))
        case ev.StepDone():
            item.steps.append(_said(Step, body, actor=event.actor))
        case (
            ev.StudioPlanned()
            | ev.StudioAreaTested()
            | ev.StudioTaskDone()
            | ev.StudioTaskWithdrawn()
        ):
            _apply_to_studio(item.studio, event, body)
        case ev.ItemLoaded():
            item.run = body.run
            item.runs.append(body.run)
            if body.station is not None:
                item.station, item.station_since = body.station, event.device_time
                item.placed_because = ""
        case ev.RunItemRemoved():
            # It came out before anything was done to it there: it has not been in that run.
            item.runs = [run for run in item.runs if run != body.run]
            if item.run == body.run:
                # Nobody has said yet where it went.
                item.run, item.station, item.station_since = None, None, event.device_time
        case ev.ChargeAdded():
            item.charges.append(_said(Charge, body))
        case ev.DecisionMade():
            item.decision = _said(Verdict, body, at=event.device_time)
        case ev.ItemReturned():
            item.returned_to = body.received_by
            item.condition_at_return = body.condition
            item.station, item.station_since = None, event.device_time
        case _:
            pass


def _apply_to_studio(
    sheet: StudioSheet,
    event: ev.Event,
    body: ev.StudioPlanned | ev.StudioAreaTested | ev.StudioTaskDone | ev.StudioTaskWithdrawn,
) -> None:
    match body:
        case ev.StudioPlanned():
            sheet.listed, sheet.signed_at = event.id, event.device_time
            sheet.signed_by, sheet.note = body.signed_by, body.note
            sheet.open = list(body.tasks)
        case ev.StudioAreaTested():
            sheet.tests.append(_said(AreaTest, body, at=event.device_time))
        case ev.StudioTaskDone():
            sheet.done.append(_said(TaskDone, body, at=event.device_time))
            sheet.open = [one for one in sheet.open if one.task is not body.task]
        case ev.StudioTaskWithdrawn():
            sheet.open = [one for one in sheet.open if one.task is not body.task]


def fold_loss(loss_id: str, entries: Iterable[Entry]) -> Loss | None:
    """The loss, or ``None`` while nothing has opened it."""
    loss = Loss(loss=loss_id)
    opened = False
    for entry in standing(entries):
        body = entry.body
        match body:
            case ev.LossOpened():
                opened = True
                for name in (
                    "title",
                    "site",
                    "zone",
                    "peril",
                    "happened_at",
                    "wet_since",
                    "water_category",
                    "mean_temperature_c",
                ):
                    setattr(loss, name, getattr(body, name))
                loss.hazards = list(dict.fromkeys([*loss.hazards, *body.hazards]))
            case ev.ClaimAdded():
                loss.claims.append(_said(Claim, body))
            case ev.AuthorisationRecorded():
                loss.authorisations.append(_said(Authorisation, body, at=entry.event.device_time))
            case ev.HazardNoted():
                loss.hazards = list(dict.fromkeys([*loss.hazards, body.hazard]))
            case ev.CautionsAcknowledged():
                loss.acknowledged[body.person] = sorted(
                    {*loss.acknowledged.get(body.person, []), *body.cautions}
                )
            case ev.ManifestClosed() if body.manifest not in loss.manifests:
                loss.manifests.append(body.manifest)
            case _:
                pass
    return loss if opened else None


def fold_manifest(manifest_id: str, entries: Iterable[Entry]) -> Manifest | None:
    """The manifest, or ``None`` while none was closed under that id."""
    manifest = Manifest(manifest=manifest_id)
    for entry in standing(entries):
        body = entry.body
        match body:
            case ev.ManifestClosed():
                manifest.loss = entry.event.loss
                manifest.vehicle = body.vehicle
                manifest.tags = list(dict.fromkeys([*manifest.tags, *body.tags]))
                manifest.leaves_at, manifest.expected_at = body.leaves_at, body.expected_at
            case ev.ManifestDelayed():
                manifest.expected_at = body.expected_at
                manifest.delays.append(body.reason)
            case ev.HandedOver():
                manifest.handovers.append(_said(Handover, body, at=entry.event.device_time))
            case ev.ItemReceived() if body.tag not in manifest.received:
                manifest.received.append(body.tag)
            case ev.MissingTold():
                manifest.told.append(
                    Told(
                        tags=list(body.tags),
                        told=body.told,
                        note=body.note,
                        by=entry.event.actor,
                        at=entry.event.device_time,
                    )
                )
            case _:
                pass
    return manifest if manifest.tags else None


def sample_of(entry: Entry, body: ev.GasRead | ev.ClimateRead | ev.OxygenRead) -> Sample:
    """What one reading says, as a run keeps it."""
    match body:
        case ev.GasRead():
            return _said(
                GasReading,
                body,
                event=entry.event.id,
                received_at=entry.received_at,
                temperature_c=body.temperature_c or "",
                pressure_pa=body.pressure_pa or "",
            )
        case ev.OxygenRead():
            return _said(OxygenReading, body, event=entry.event.id, received_at=entry.received_at)
        case ev.ClimateRead():
            return _said(ClimateReading, body)


def air_of(entry: Entry, body: ev.AirRead) -> AirReading:
    """What one reading of a place's air says, as the place's log keeps it."""
    return _said(
        AirReading,
        body,
        event=entry.event.id,
        received_at=entry.received_at,
        actor=entry.event.actor,
    )


def fold_run(run_id: str, entries: Iterable[Entry]) -> Run | None:
    """The chamber run, or ``None`` while none was opened under that id."""
    run = Run(run=run_id)
    opened = False
    for entry in standing(entries):
        body, event = entry.body, entry.event
        match body:
            case ev.RunOpened():
                opened = True
                run.station, run.programme = body.station, body.programme
                run.version, run.tags = body.version, list(body.tags)
            case ev.RunItemAdded() if body.tag not in run.tags:
                run.tags.append(body.tag)
            case ev.RunItemRemoved():
                run.tags = [tag for tag in run.tags if tag != body.tag]
                run.loaded = [tag for tag in run.loaded if tag != body.tag]
            case ev.ItemLoaded() if body.tag not in run.loaded:
                run.loaded.append(body.tag)
            case ev.PhaseEntered():
                run.phases.append(_said(PhaseChange, body, actor=event.actor))
                if body.phase in {Phase.SEALED, Phase.AIRING}:
                    # A door, damper or sign may have been moved since they were looked at.
                    run.checks = []
            case ev.DosingChecked():
                run.checks += [
                    _said(CheckDone, body, check=check, actor=event.actor) for check in body.checks
                ]
            case ev.DoseAdded():
                run.doses.append(_said(Dose, body, received_at=entry.received_at))
            case ev.GasRead() | ev.ClimateRead() | ev.OxygenRead():
                match sample_of(entry, body):
                    case GasReading() as gas:
                        run.gas.append(gas)
                    case ClimateReading() as climate:
                        run.climate.append(climate)
                    case OxygenReading() as oxygen:
                        run.oxygen.append(oxygen)
            case ev.HoldClosed():
                run.holds.append(_said(Hold, body))
            case ev.ClearanceSigned():
                run.signatures.append(
                    _said(Signature, body, actor=event.actor, role=event.role, at=event.device_time)
                )
            case ev.ChamberOpened():
                run.opened_at, run.opened_on = body.at, body.readings
            case _:
                pass
    return run if opened else None


def fold_facility(entries: Iterable[Entry]) -> FacilityBook:
    """The facility as described so far; empty before the first description."""
    book = FacilityBook()
    for entry in standing(entries):
        body, event = entry.body, entry.event

        def act(words: str, event: ev.Event = event) -> None:
            book.plan_acts.append(
                PlanAct(event=event.id, at=event.device_time, actor=event.actor, words=words)
            )

        match body:
            case ev.FacilityDescribed():
                book.facility = body.facility
                act("described the facility anew")
            case ev.StationClosed():
                book.closures.append(_said(Closure, body))
                act(f"took {_station_label(book, body.station)} out of use: {body.reason}")
            case ev.ProgrammeSigned():
                book.programmes.append(body.programme)
                book.signatures.append(
                    ProgrammeSignature(
                        programme=body.programme.id,
                        version=body.programme.version,
                        signed_by=body.programme.signed_by,
                        signed_at=datetime.fromisoformat(entry.event.device_time),
                        document=body.document,
                    )
                )
            case ev.InstrumentRegistered():
                book.instruments.append(_said(Instrument, body))
            case ev.PlanAdopted():
                book.plan, book.problem = body.plan, body.problem
                book.plans_adopted += 1
                act("took another plan into use")
            case ev.PlanEdited():
                if all(body.edit != one.edit for one in book.edits):
                    said = {"actor": event.actor, "at": event.device_time}
                    book.edits.append(_said(PlanEdit, body, **said))
                    act(f"edited the plan ({body.kind.label.lower()}): {body.reason}")
            case ev.PlanEditWithdrawn():
                for one in book.edits:
                    if one.edit == body.edit and not one.withdrawn:
                        one.withdrawn = True
                        act(f"withdrew an edit of the plan ({one.kind.label.lower()})")
            case _:
                pass
    return book


def _station_label(book: FacilityBook, station: str) -> str:
    known = book.facility.stations if book.facility else ()
    return next((one.label for one in known if one.id == station), station)


def fold_phone(phone_id: str, entries: Iterable[Entry]) -> Phone | None:
    """The phone, or ``None`` while none was enrolled under that id.

    A phone keeps its first key, and stays revoked.
    """
    phone: Phone | None = None
    revoked: dict[str, object] = {}
    for entry in standing(entries):
        body, event = entry.body, entry.event
        match body:
            case ev.PhoneEnrolled() if phone is None:
                phone = _said(Phone, body, enrolled_at=event.device_time, enrolled_by=event.actor)
            case ev.PhoneRevoked() if not revoked:
                revoked = {
                    "revoked_at": event.device_time,
                    "revoked_by": event.actor,
                    "revoked_because": body.reason,
                }
            case _:
                pass
    return phone.model_copy(update=revoked) if phone else None


def fold_sensor(sensor_id: str, entries: Iterable[Entry]) -> Sensor | None:
    """The sensor as last described, or ``None`` while nobody has made it known."""
    sensor: Sensor | None = None
    for entry in standing(entries):
        if isinstance(entry.body, ev.SensorPlaced):
            event = entry.event
            sensor = _said(Sensor, entry.body, placed_at=event.device_time, placed_by=event.actor)
    return sensor


def fold(subject: str, entries: Iterable[Entry]) -> Record | None:
    """The record that ``subject`` (``kind:id``) names. ``ValueError`` for an unknown kind."""
    kind, _, name = subject.partition(":")
    if kind == "facility":
        return fold_facility(entries)
    folds: dict[str, Callable[[str, Iterable[Entry]], Record | None]] = {
        "item": fold_item,
        "loss": fold_loss,
        "manifest": fold_manifest,
        "run": fold_run,
        "phone": fold_phone,
        "sensor": fold_sensor,
    }
    if kind not in folds:
        raise ValueError(f"{subject}: no such kind of record; use {', '.join(sorted(folds))}")
    return folds[kind](name, entries)
