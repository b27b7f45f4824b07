"""The event contract of phone, log and interface.

Everything that happens is an event. A device writes it once, numbers it, chains it to its own
last event by digest, and never changes it. Events are ordered by ``(clock, device, sequence)``:
``clock`` is a Lamport counter (Lamport, "Time, clocks, and the ordering of events in a
distributed system", CACM 21(7), 1978), so the order respects what each writer had seen and no
wall clock, however wrong, changes a result.

Measurements and money are decimal strings with their unit, so that no digit a person entered is
lost on the way to the proof.
"""

import hashlib
from dataclasses import dataclass
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Annotated, Any, Literal, Self

from pydantic import (
    AwareDatetime,
    BaseModel,
    ConfigDict,
    Field,
    StringConstraints,
    TypeAdapter,
    ValidationError,
    model_validator,
)

from shared.facility import Facility, Id
from shared.facts import MouldConditionNumber
from shared.ledger import canonical_bytes
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

FORMAT: Literal["lagan-event/1"] = "lagan-event/1"

Tag = Annotated[
    str, Field(pattern=r"^[0-9A-HJKMNP-TV-Z]{13}$", description="A tag, with its check.")
]
Ref = Annotated[str, Field(pattern=r"^[A-Za-z0-9][A-Za-z0-9._-]{0,63}$")]
Digest = Annotated[str, Field(pattern=r"^[0-9a-f]{64}$", description="SHA-256, lower-case hex.")]
Line = Annotated[str, StringConstraints(strip_whitespace=True, max_length=300)]
Name = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=300)]
Text = Annotated[str, StringConstraints(max_length=4000)]
DecimalText = Annotated[str, Field(pattern=r"^-?(0|[1-9]\d{0,11})(\.\d{1,9})?$")]
HoursText = Annotated[
    str,
    Field(
        pattern=r"^(0\.\d{0,8}[1-9]|[1-9]\d{0,2}(\.\d{1,9})?)$",
        description="Hours of work, more than none and less than a thousand.",
    ),
]
Coordinate = Annotated[
    str, Field(pattern=r"^[A-Za-z0-9_-]{43}$", description="32 bytes in base64url, unpadded.")
]
Currency = Annotated[str, Field(pattern=r"^[A-Z]{3}$", description="ISO 4217 code.")]

UtcText = Annotated[
    str,
    Field(
        pattern=r"^\d{4}-\d{2}-\d{2}T\d{2}:\d{2}:\d{2}(\.\d{1,6})?Z$",
        description="RFC 3339 time in UTC, such as 2026-01-31T14:05:00Z.",
    ),
]

LengthUnit = Literal["mm", "cm", "m", "in", "ft"]
MassUnit = Literal["g", "kg", "oz", "lb"]
TemperatureUnit = Literal["degC", "degF"]
GasUnit = Literal["ppm", "mg/m3", "g/m3"]
AirUnit = Literal["degC", "degF", "%RH", "ppm", "mg/m3", "g/m3", "%vol"]
GasKey = Annotated[
    str,
    Field(
        pattern=r"^[a-z][a-z0-9_]{0,39}$",
        description="Key of the gas in the gases table, such as chlorine_dioxide.",
    ),
]


PlannedStep = Annotated[
    str,
    Field(
        pattern=r"^[a-z][a-z_]{0,39}(-[0-9]{1,3})?$",
        description="A step of a plan: its kind, and its number where it takes several sessions.",
    ),
]


class Fixed(BaseModel):
    """Base of everything in the contract: immutable, no unknown fields."""

    model_config = ConfigDict(frozen=True, extra="forbid")


PlanSeen = Annotated[
    Digest | None,
    Field(
        description="What its writer saw of what was decided about the plan so far; refused when "
        "something was decided since."
    ),
]


class Length(Fixed):
    """A length as entered."""

    value: DecimalText
    unit: LengthUnit


class Mass(Fixed):
    """A mass as entered."""

    value: DecimalText
    unit: MassUnit


class Money(Fixed):
    """An amount of money."""

    amount: DecimalText
    currency: Currency

    @property
    def decimal(self) -> Decimal:
        """The amount as a ``Decimal``."""
        return Decimal(self.amount)


class Spot(Fixed):
    """Where on the site a piece was found."""

    floor: Line = ""
    room: Line = ""
    wall: Line = ""

    def __str__(self) -> str:
        """Floor, room and wall in one line."""
        return ", ".join(part for part in (self.floor, self.room, self.wall) if part)


class Size(Fixed):
    """Outside measures of a piece, as it would be carried."""

    height: Length
    width: Length
    depth: Length | None = None


# --- the loss ---------------------------------------------------------------------------------


class LossOpened(Fixed):
    """A call came in: a site, a peril, a date."""

    type: Literal["loss_opened"] = "loss_opened"
    title: Name
    site: Name
    zone: Name = Field(description="IANA time zone of the site.")
    peril: Peril
    happened_at: AwareDatetime
    wet_since: AwareDatetime | None = None
    water_category: WaterCategory | None = None
    mean_temperature_c: DecimalText | None = None
    hazards: tuple[Hazard, ...] = ()


class ClaimAdded(Fixed):
    """A claim under one policy; a site may have several."""

    type: Literal["claim_added"] = "claim_added"
    claim: Ref
    insurer: Name
    policy: Line = ""
    owner: Name
    currency: Currency


class AuthorisationRecorded(Fixed):
    """Somebody with the right to do so let us take the pieces away."""

    type: Literal["authorisation_recorded"] = "authorisation_recorded"
    given_by: Name
    covers: Text
    document: Digest | None = None


class HazardNoted(Fixed):
    """A hazard seen on the site."""

    type: Literal["hazard_noted"] = "hazard_noted"
    hazard: Hazard
    note: Text = ""


class CautionsAcknowledged(Fixed):
    """A crew member read the cautions before entry."""

    type: Literal["cautions_acknowledged"] = "cautions_acknowledged"
    person: Name
    cautions: tuple[Id, ...]


# --- the piece --------------------------------------------------------------------------------


class ItemTagged(Fixed):
    """A blank tag was tied to a piece: the piece exists from here on."""

    type: Literal["item_tagged"] = "item_tagged"
    tag: Tag
    object_type: ObjectType
    materials: tuple[Material, ...] = Field(min_length=1)
    found: Spot = Spot()
    claim: Ref | None = None
    parent: Tag | None = Field(default=None, description="The piece that this is a part of.")
    role: PartRole | None = None
    quantity: Annotated[int, Field(ge=1, le=10_000)] = 1


class ItemDescribed(Fixed):
    """Facts about a piece that can be known later than its tag. Absent fields stay as they are."""

    type: Literal["item_described"] = "item_described"
    tag: Tag
    title: Line | None = None
    maker: Line | None = None
    period: Line | None = None
    subject: Line | None = None
    medium: Line | None = None
    inscriptions: Text | None = None
    features: Text | None = Field(default=None, description="Distinguishing features.")
    description: Text | None = None
    object_type: ObjectType | None = None
    materials: tuple[Material, ...] | None = Field(default=None, min_length=1)
    size: Size | None = None
    found: Spot | None = None
    quantity: Annotated[int, Field(ge=1, le=10_000)] | None = Field(
        default=None, description="Pieces under the one tag, where the first count was wrong."
    )
    claim: Ref | None = None
    significance: Significance | None = None
    conservator_only: bool | None = None
    replaces: tuple[Ref, ...] = Field(
        default=(),
        description="Ids of the events whose values the writer saw and means to replace.",
    )


class DamageNoted(Fixed):
    """One kind of damage seen on a piece."""

    type: Literal["damage_noted"] = "damage_noted"
    tag: Tag
    damage: Damage
    extent: Extent = Extent.PARTIAL
    wet_since: AwareDatetime | None = None
    water_category: WaterCategory | None = None
    mould_condition: MouldConditionNumber | None = Field(
        default=None,
        description="Condition 1, 2 or 3 of ANSI/IICRC S520, where somebody qualified said so.",
    )
    note: Text = ""


class DamageWithdrawn(Fixed):
    """A kind of damage noted before turned out not to be there, with the reason."""

    type: Literal["damage_withdrawn"] = "damage_withdrawn"
    tag: Tag
    damage: Damage
    reason: Name


class PhotoTaken(Fixed):
    """A photo of a piece; the bytes travel apart and are known by their digest."""

    type: Literal["photo_taken"] = "photo_taken"
    tag: Tag
    photo: Digest
    kind: PhotoKind
    caption: Line = ""


class ValueStated(Fixed):
    """What a piece is worth, and on whose word."""

    type: Literal["value_stated"] = "value_stated"
    tag: Tag
    basis: ValueBasis
    value: Money
    stated_by: Name
    loss_in_value: Money | None = Field(
        default=None, description="Loss that would remain after treatment."
    )


class TagReplaced(Fixed):
    """A torn or lost tag was replaced; the piece keeps its first tag as its name."""

    type: Literal["tag_replaced"] = "tag_replaced"
    tag: Tag
    new_tag: Tag
    reason: Name


# --- moving -----------------------------------------------------------------------------------


class ItemPacked(Fixed):
    """A piece went into a container."""

    type: Literal["item_packed"] = "item_packed"
    tag: Tag
    container: Ref


class ManifestClosed(Fixed):
    """The list of what goes on one truck."""

    type: Literal["manifest_closed"] = "manifest_closed"
    manifest: Ref
    vehicle: Name
    tags: tuple[Tag, ...] = Field(min_length=1, max_length=20_000)
    leaves_at: AwareDatetime
    expected_at: AwareDatetime


class HandedOver(Fixed):
    """A load passed from one person to another."""

    type: Literal["handed_over"] = "handed_over"
    manifest: Ref
    given_by: Name
    taken_by: Name
    signature: Digest | None = Field(default=None, description="Photo of the drawn signature.")


class ManifestDelayed(Fixed):
    """A truck will come later than its manifest says."""

    type: Literal["manifest_delayed"] = "manifest_delayed"
    manifest: Ref
    expected_at: AwareDatetime
    reason: Name


class ItemReceived(Fixed):
    """A piece arrived at the facility."""

    type: Literal["item_received"] = "item_received"
    tag: Tag
    manifest: Ref | None = None
    station: Id
    condition: Text = ""
    damaged_in_transit: bool | None = Field(
        default=None, description="Whether it came to harm on the way; absent: nobody said."
    )
    reason: Text = Field(default="", description="Why it was put there against advice.")


class MissingTold(Fixed):
    """Somebody was told that listed pieces did not come off the truck."""

    type: Literal["missing_told"] = "missing_told"
    manifest: Ref
    tags: tuple[Tag, ...] = Field(min_length=1, max_length=20_000)
    told: Name
    note: Text = ""


class ItemMoved(Fixed):
    """A piece went to another place in the facility."""

    type: Literal["item_moved"] = "item_moved"
    tag: Tag
    station: Id
    reason: Text = Field(default="", description="Why it was put there against advice.")


# --- the facility -----------------------------------------------------------------------------


class FacilityDescribed(Fixed):
    """The facility's chambers, rooms, benches and people, whole."""

    type: Literal["facility_described"] = "facility_described"
    facility: Facility
    after: Digest | None = Field(
        default=None, description="Digest of the description that the writer saw and changed."
    )


class StationClosed(Fixed):
    """A station cannot be used for a time."""

    type: Literal["station_closed"] = "station_closed"
    station: Id
    starts_at: AwareDatetime
    ends_at: AwareDatetime
    reason: Name


class ProgrammeSigned(Fixed):
    """The licensed person signed a version of a programme."""

    type: Literal["programme_signed"] = "programme_signed"
    programme: Programme
    document: Digest | None = None


class OverrideSigned(Fixed):
    """A conservator lifted a refusal that may be lifted, for named pieces and a named agent."""

    type: Literal["override_signed"] = "override_signed"
    override: Ref
    tags: tuple[Tag, ...] = Field(min_length=1)
    agent: Agent
    materials: tuple[Material, ...] = Field(min_length=1)
    reason: Name
    signed_by: Name
    expires: date


class InstrumentRegistered(Fixed):
    """A gas instrument, what it can see and until when it is in calibration."""

    type: Literal["instrument_registered"] = "instrument_registered"
    instrument: Ref
    gas: GasKey
    detection_limit_ppm: DecimalText
    calibrated_until: AwareDatetime


class SensorPlaced(Fixed):
    """A sensor was made known, moved or calibrated: said whole each time, the last word counts."""

    type: Literal["sensor_placed"] = "sensor_placed"
    sensor: Ref
    name: Name
    station: Id = Field(description="The chamber, room or store it stands in.")
    zone: Line = Field(default="", description="Where in a chamber.")
    measures: tuple[Measure, ...] = Field(min_length=1)
    gas: GasKey | None = None
    calibrated_until: AwareDatetime
    least_seen: DecimalText | None = Field(
        default=None, description="For a gas: the least it can see, ppm by volume."
    )


class AirRead(Fixed):
    """One thing measured in the air of a place, outside a chamber run."""

    type: Literal["air_read"] = "air_read"
    station: Id
    zone: Line = ""
    sensor: Ref | None = Field(default=None, description="The sensor that sent it, if one did.")
    instrument: Line = Field(default="", description="What a person read it from.")
    value: DecimalText | Literal["<LOD"]
    unit: AirUnit
    temperature_c: DecimalText | None = None
    pressure_pa: DecimalText | None = None
    taken_at: AwareDatetime


class Weighed(Fixed):
    """A piece was weighed while drying."""

    type: Literal["weighed"] = "weighed"
    tag: Tag
    mass: Mass
    taken_at: AwareDatetime
    instrument: Line = ""


class MoistureRead(Fixed):
    """The moisture content that a meter showed at one spot of a piece."""

    type: Literal["moisture_read"] = "moisture_read"
    tag: Tag
    percent: DecimalText = Field(description="What the meter shows, on the scale named.")
    scale: MoistureScale | None = Field(
        default=None, description="Absent: per cent of the dry mass."
    )
    method: Name = Field(description="Pins, capacitance, oven and so on, with the meter's name.")
    spot: Line = Field(default="", description="Where on the piece.")
    taken_at: AwareDatetime


class SurfaceRead(Fixed):
    """Temperature and humidity of the air at the surface of a piece."""

    type: Literal["surface_read"] = "surface_read"
    tag: Tag
    temperature: DecimalText
    unit: TemperatureUnit
    rh_percent: DecimalText
    spot: Line = Field(default="", description="Where on the piece.")
    instrument: Line = ""
    taken_at: AwareDatetime


class StepDone(Fixed):
    """A step of a piece's route is finished."""

    type: Literal["step_done"] = "step_done"
    tag: Tag
    step: StepKind
    started_at: AwareDatetime
    ended_at: AwareDatetime
    hours: DecimalText | None = Field(default=None, description="Hours of work spent.")
    note: Text = ""


class PlannedTask(Fixed):
    """A task on a piece's studio list."""

    task: StudioTask
    method: Id = Field(description="Key of the method in the table of studio methods.")
    hours: HoursText
    override: Line = Field(
        default="", description="The conservator's reason, where the rules leave it to one."
    )


class StudioPlanned(Fixed):
    """A conservator signed what is to be done to a piece at the bench.

    The list takes the place of whatever is still open of the one before.
    """

    type: Literal["studio_planned"] = "studio_planned"
    tag: Tag
    tasks: tuple[PlannedTask, ...] = Field(min_length=1, max_length=40)
    signed_by: Name
    note: Text = ""
    after: Ref | None = Field(
        default=None, description="The event of the list that the writer saw; none: no list."
    )

    @model_validator(mode="after")
    def _each_task_once(self) -> Self:
        named = [one.task for one in self.tasks]
        if len(set(named)) < len(named):
            raise ValueError("tasks: the same task is there twice; keep one")
        return self


class StudioAreaTested(Fixed):
    """A method was tried on a small area, before the rest is worked on."""

    type: Literal["studio_area_tested"] = "studio_area_tested"
    tag: Tag
    task: StudioTask
    method: Id
    spot: Name = Field(description="Where on the piece.")
    result: AreaResult
    tested_by: Name
    note: Text = ""
    photo: Digest | None = None


class StudioTaskDone(Fixed):
    """A task of a piece's studio list is finished."""

    type: Literal["studio_task_done"] = "studio_task_done"
    tag: Tag
    task: StudioTask
    method: Id
    done_by: Name
    hours: HoursText
    used: Name = Field(description="Materials used, or that none were.")
    note: Text = ""
    photo: Digest | None = None


class StudioTaskWithdrawn(Fixed):
    """A task of a piece's studio list is not to be done after all."""

    type: Literal["studio_task_withdrawn"] = "studio_task_withdrawn"
    tag: Tag
    task: StudioTask
    reason: Name


class PlanAdopted(Fixed):
    """The lead took a checked plan as the one to work by."""

    type: Literal["plan_adopted"] = "plan_adopted"
    plan: Digest
    problem: Digest
    after: PlanSeen = None


class PlannedPlace(Fixed):
    """A step of a piece as the plan in use has it."""

    piece: Tag
    step: PlannedStep
    station: Id
    starts_at: AwareDatetime
    ends_at: AwareDatetime
    run: Ref | None = Field(default=None, description="For a chamber run.")


class PlanEdited(Fixed):
    """The lead told the planner something that every plan from now on keeps."""

    type: Literal["plan_edited"] = "plan_edited"
    edit: Ref
    kind: PlanEditKind
    pieces: tuple[Tag, ...] = Field(min_length=1, max_length=1000)
    step: PlannedStep | None = Field(default=None, description="Null: from the next step on.")
    station: Id | None = Field(default=None, description="Move: the only place for the step.")
    not_before: AwareDatetime | None = Field(
        default=None, description="Move or hold: the step starts no sooner."
    )
    waits_for: Line = Field(
        default="", description="Hold: whom or what it waits for, until this edit is withdrawn."
    )
    placed: tuple[PlannedPlace, ...] = Field(default=(), description="Pin: what stays where.")
    others: tuple[Tag, ...] = Field(
        default=(), description="Keep apart: what `pieces` share no chamber run with."
    )
    reason: Name
    after: PlanSeen = None

    @model_validator(mode="after")
    def _says_what(self) -> Self:
        match self.kind:
            case PlanEditKind.MOVE if self.station is None and self.not_before is None:
                raise ValueError("station: choose where to, or give the earliest start")
            case PlanEditKind.HOLD if self.not_before is None and not self.waits_for:
                raise ValueError("waits_for: say whom it waits for, or give the earliest start")
            case PlanEditKind.PIN if not self.placed:
                raise ValueError("placed: nothing of it is in the plan")
            case PlanEditKind.SEPARATE if not self.others or set(self.others) & set(self.pieces):
                raise ValueError("others: choose two different sides to keep apart")
        return self


class PlanEditWithdrawn(Fixed):
    """An edit of the plan no longer counts."""

    type: Literal["plan_edit_withdrawn"] = "plan_edit_withdrawn"
    edit: Ref
    reason: Line = ""
    after: PlanSeen = None


# --- the crews' phones ------------------------------------------------------------------------


class PhoneKey(Fixed):
    """A phone's public key: a JSON Web Key (RFC 7517) on the curve P-256 (RFC 7518, 6.2.1)."""

    kty: Literal["EC"] = "EC"
    crv: Literal["P-256"] = "P-256"
    x: Coordinate
    y: Coordinate


class PhoneEnrolled(Fixed):
    """A phone may write from here on, under this name and with this key."""

    type: Literal["phone_enrolled"] = "phone_enrolled"
    phone: Ref = Field(description="The device that its events name.")
    name: Name
    holder: Line = Field(default="", description="The person or team it was given to.")
    key: PhoneKey


class PhoneRevoked(Fixed):
    """A phone may write no more."""

    type: Literal["phone_revoked"] = "phone_revoked"
    phone: Ref
    reason: Name


# --- a chamber run ----------------------------------------------------------------------------


class RunOpened(Fixed):
    """A planned run begins to be loaded."""

    type: Literal["run_opened"] = "run_opened"
    run: Ref
    station: Id
    programme: Id
    version: Annotated[int, Field(ge=1)]
    tags: tuple[Tag, ...] = Field(min_length=1)


class RunItemAdded(Fixed):
    """A piece was put on the sheet of a run that is not sealed yet."""

    type: Literal["run_item_added"] = "run_item_added"
    run: Ref
    tag: Tag
    reason: Text = ""


class RunItemRemoved(Fixed):
    """A piece was taken off the sheet of a run, and out of the chamber if it stood there."""

    type: Literal["run_item_removed"] = "run_item_removed"
    run: Ref
    tag: Tag
    reason: Name


class ItemLoaded(Fixed):
    """A piece went into the chamber for a run."""

    type: Literal["item_loaded"] = "item_loaded"
    run: Ref
    tag: Tag
    station: Annotated[
        Id | None, Field(description="The chamber it went into: where the piece is from now on.")
    ] = None
    override: Ref | None = None


class PhaseEntered(Fixed):
    """A run moved on to its next phase."""

    type: Literal["phase_entered"] = "phase_entered"
    run: Ref
    phase: Phase
    after: Annotated[
        Phase | None,
        Field(description="The phase that its writer saw; refused when the run has moved on."),
    ] = None
    at: AwareDatetime
    reason: Text = ""


class DosingChecked(Fixed):
    """Somebody looked, before the gas goes in, at what the checks before dosing name."""

    type: Literal["dosing_checked"] = "dosing_checked"
    run: Ref
    checks: tuple[Ref, ...] = Field(min_length=1, description="Ids of the dosing_checks table.")
    at: AwareDatetime


class DoseAdded(Fixed):
    """Agent was introduced, first or as a top-up."""

    type: Literal["dose_added"] = "dose_added"
    run: Ref
    mass: Mass
    at: AwareDatetime


class GasRead(Fixed):
    """One gas reading in one zone. ``value`` is a number or, below detection, ``<LOD``."""

    type: Literal["gas_read"] = "gas_read"
    run: Ref
    reading: Ref
    zone: Line
    instrument: Ref
    value: DecimalText | Literal["<LOD"]
    unit: GasUnit
    temperature_c: DecimalText | None = Field(
        default=None, description="At the sensor; without it only ppm can be read."
    )
    pressure_pa: DecimalText | None = None
    taken_at: AwareDatetime


class ClimateRead(Fixed):
    """Temperature, humidity or both in one zone of a chamber."""

    type: Literal["climate_read"] = "climate_read"
    run: Ref
    zone: Line
    sensor: Ref | None = None
    temperature_c: DecimalText | None = None
    rh_percent: DecimalText | None = None
    taken_at: AwareDatetime

    @model_validator(mode="after")
    def _says_something(self) -> Self:
        if self.temperature_c is None and self.rh_percent is None:
            raise ValueError("temperature_c: give the temperature, the humidity or both")
        return self


class OxygenRead(Fixed):
    """Oxygen in one zone of a chamber, per cent by volume."""

    type: Literal["oxygen_read"] = "oxygen_read"
    run: Ref
    zone: Line
    sensor: Ref | None = None
    percent: DecimalText
    taken_at: AwareDatetime


class HoldClosed(Fixed):
    """The chamber stood closed, with airing off, so that gas given back by the load would show."""

    type: Literal["hold_closed"] = "hold_closed"
    run: Ref
    starts_at: AwareDatetime
    ends_at: AwareDatetime


class ClearanceSigned(Fixed):
    """One person put a name to one exact set of readings."""

    type: Literal["clearance_signed"] = "clearance_signed"
    run: Ref
    signer: Name
    licence_no: Line = ""
    readings: Digest = Field(description="Digest of the readings that were looked at.")
    seen_to: Annotated[
        AwareDatetime | None,
        Field(description="When the service had the newest reading that was looked at."),
    ] = None


class ChamberOpened(Fixed):
    """The chamber was opened; refused unless it is cleared at this moment."""

    type: Literal["chamber_opened"] = "chamber_opened"
    run: Ref
    readings: Digest
    at: AwareDatetime


# --- deciding, charging, returning ------------------------------------------------------------


class DecisionMade(Fixed):
    """What the adjuster decided on a piece, and why."""

    type: Literal["decision_made"] = "decision_made"
    tag: Tag
    decision: Decision
    reason: Text = ""
    decided_by: Name


class ChargeAdded(Fixed):
    """A cost line on a piece."""

    type: Literal["charge_added"] = "charge_added"
    tag: Tag
    charge: Ref
    what: Name
    step: StepKind | None = None
    quantity: DecimalText
    unit: Line
    rate: Money


class ItemReturned(Fixed):
    """A piece went back to its owner."""

    type: Literal["item_returned"] = "item_returned"
    tag: Tag
    received_by: Name
    condition: Text
    signature: Digest | None = None


class EventUndone(Fixed):
    """A writer takes back an event of the same device, with the reason; both stay in the log."""

    type: Literal["event_undone"] = "event_undone"
    event: Ref
    subject: Name = Field(description="The record the undone event belonged to, such as item:TAG.")
    reason: Name


Body = Annotated[
    LossOpened
    | ClaimAdded
    | AuthorisationRecorded
    | HazardNoted
    | CautionsAcknowledged
    | ItemTagged
    | ItemDescribed
    | DamageNoted
    | DamageWithdrawn
    | PhotoTaken
    | ValueStated
    | TagReplaced
    | ItemPacked
    | ManifestClosed
    | HandedOver
    | ManifestDelayed
    | ItemReceived
    | MissingTold
    | ItemMoved
    | FacilityDescribed
    | StationClosed
    | ProgrammeSigned
    | OverrideSigned
    | InstrumentRegistered
    | SensorPlaced
    | AirRead
    | Weighed
    | MoistureRead
    | SurfaceRead
    | StepDone
    | StudioPlanned
    | StudioAreaTested
    | StudioTaskDone
    | StudioTaskWithdrawn
    | PlanAdopted
    | PlanEdited
    | PlanEditWithdrawn
    | PhoneEnrolled
    | PhoneRevoked
    | RunOpened
    | RunItemAdded
    | RunItemRemoved
    | ItemLoaded
    | PhaseEntered
    | DosingChecked
    | DoseAdded
    | GasRead
    | ClimateRead
    | OxygenRead
    | HoldClosed
    | ClearanceSigned
    | ChamberOpened
    | DecisionMade
    | ChargeAdded
    | ItemReturned
    | EventUndone,
    Field(discriminator="type"),
]


NEEDS_LOSS = (
    LossOpened,
    ClaimAdded,
    AuthorisationRecorded,
    HazardNoted,
    CautionsAcknowledged,
    ItemTagged,
    ManifestClosed,
)
"""What cannot be said without naming the loss it belongs to."""


class Event(Fixed):
    """One event as its device wrote it.

    ``body`` stays a plain object here: a reader that does not know its type keeps it undecoded.
    No field has a default and times stay text, so that dumping a received event gives back
    exactly what was received, and with it the same bytes and the same digest.
    """

    format: Literal["lagan-event/1"]
    id: Ref
    device: Ref
    sequence: Annotated[int, Field(ge=1, le=2**53 - 1)]
    clock: Annotated[int, Field(ge=1, le=2**53 - 1)] = Field(
        description="Lamport counter: one more than the greatest the writer had seen."
    )
    previous: Digest | Literal[""] = Field(description="Digest of the device's event before this.")
    device_time: UtcText
    zone: Annotated[str, Field(min_length=1, max_length=64, description="IANA zone of the writer.")]
    actor: Annotated[str, Field(min_length=1, max_length=300)]
    role: Role
    loss: Ref | None
    body: dict[str, Any]

    @property
    def order(self) -> tuple[int, str, int]:
        """The place of this event among all others: see the module's docstring."""
        return (self.clock, self.device, self.sequence)


_BODY: TypeAdapter[Body] = TypeAdapter(Body)


class EventError(ValueError):
    """An event or its body does not fit the contract; the message names the field and the mend."""


def decode(event: Event) -> Body | None:
    """The typed body of ``event``, or ``None`` when its type is not known to this version.

    Raises ``EventError`` when the type is known and a field is wrong.
    """
    if event.body.get("type") not in KNOWN_TYPES:
        return None
    try:
        body = _BODY.validate_python(event.body, strict=False)
    except ValidationError as error:
        raise EventError(f"body: {describe(error)}") from error
    if event.loss is None and isinstance(body, NEEDS_LOSS):
        raise EventError(f"loss: an event of type {body.type} belongs to a loss; name it")
    return body


def describe(error: ValidationError) -> str:
    """The first fault of a pydantic error as one line that names the field."""
    first = error.errors()[0]
    where = ".".join(str(part) for part in first["loc"]) or "the event"
    return f"{where}: {first['msg']}"


def event_bytes(event: Event) -> bytes:
    """The RFC 8785 bytes of ``event``: what is hashed, chained, stored and proved."""
    return canonical_bytes(event.model_dump(mode="json"))


def event_digest(event: Event) -> str:
    """SHA-256 of :func:`event_bytes`, lower-case hex."""
    return hashlib.sha256(event_bytes(event)).hexdigest()


@dataclass
class Journal:
    """One device's own end of the log: numbers, clocks and chains what it writes."""

    device: str
    zone: str
    sequence: int = 0
    clock: int = 0
    previous: str = ""

    def write(
        self,
        body: BaseModel,
        *,
        actor: str,
        role: Role,
        at: datetime,
        loss: str | None = None,
        name: str | None = None,
    ) -> Event:
        """The device's next event, saying ``body`` at ``at``; its id is ``name``, if it has one."""
        self.sequence += 1
        self.clock += 1
        event = Event(
            format=FORMAT,
            id=name or f"{self.device}.{self.sequence}",
            device=self.device,
            sequence=self.sequence,
            clock=self.clock,
            previous=self.previous,
            device_time=utc_text(at),
            zone=self.zone,
            actor=actor,
            role=role,
            loss=loss,
            body=body_of(body),
        )
        self.previous = event_digest(event)
        return event

    def saw(self, clock: int) -> None:
        """Take note of a clock seen elsewhere, so that what is written next comes after it."""
        self.clock = max(self.clock, clock)


def body_of(event_body: BaseModel) -> dict[str, Any]:
    """A typed body as the plain object an :class:`Event` carries."""
    return event_body.model_dump(mode="json", exclude_none=True)


def known_types() -> frozenset[str]:
    """The names of every event type in this version of the contract."""
    schema = _BODY.json_schema()
    return frozenset(schema["discriminator"]["mapping"])


KNOWN_TYPES = known_types()


def contract_schema() -> dict[str, Any]:
    """JSON Schema of an event and of every body: the source of the phone's types."""

    class Contract(Fixed):
        event: Event
        body: Body

    return Contract.model_json_schema(mode="validation")


def utc_text(moment: datetime) -> str:
    """``moment`` as the contract writes times. ``ValueError`` when it has no zone."""
    if moment.tzinfo is None:
        raise ValueError("a time needs its zone")
    return moment.astimezone(UTC).isoformat().replace("+00:00", "Z")


def subjects(body: Body) -> frozenset[str]:
    """The records that ``body`` changes, as ``kind:id``: what a fold has to be redone for.

    Kinds are ``item``, ``run``, ``manifest``, ``phone``, ``sensor``, ``loss`` (id ``*``: the
    event's own loss) and ``facility`` (no id: there is one facility in an installation).
    """
    found: set[str] = set()
    for name, kind in _SUBJECT_FIELDS.items():
        value = getattr(body, name, None)
        if isinstance(value, str):
            found.add(f"{kind}:{value}")
    if isinstance(body, ManifestClosed | OverrideSigned | RunOpened):
        found.update(f"item:{tag}" for tag in body.tags)
    if isinstance(body, EventUndone):
        found.add(body.subject)
    if isinstance(body, SensorPlaced):
        found.add(f"sensor:{body.sensor}")
    if isinstance(
        body,
        LossOpened
        | ClaimAdded
        | AuthorisationRecorded
        | HazardNoted
        | CautionsAcknowledged
        | ManifestClosed,
    ):
        found.add("loss:*")
    if isinstance(
        body,
        FacilityDescribed
        | StationClosed
        | ProgrammeSigned
        | InstrumentRegistered
        | PlanAdopted
        | PlanEdited
        | PlanEditWithdrawn,
    ):
        found.add("facility:")
    return frozenset(found)


_SUBJECT_FIELDS = {
    "tag": "item",
    "new_tag": "item",
    "run": "run",
    "manifest": "manifest",
    "phone": "phone",
}
