"""The facts of the trade: every table of ``shared/tables``, loaded, validated and typed once.

Each row carries a ``source`` (a publication, or words that say there is none) and a ``mark``:
the weakest of what the row rests on. A facility may change rows by a file of its own; see
:mod:`shared.fact_changes`.
"""

import csv
import hashlib
import io
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from enum import StrEnum
from functools import cache, cached_property
from importlib import resources
from types import MappingProxyType
from typing import Annotated, Any, Literal, Self, TypeVar

import rfc8785
from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, ValidationError, model_validator

from shared import fact_changes
from shared.fact_changes import NOTHING, Change, ChangedCell, read_changes, why_protected
from shared.mould import MouldSensitivity
from shared.vocabulary import (
    Agent,
    Band,
    Damage,
    Extent,
    Hazard,
    Labelled,
    Material,
    ObjectType,
    Permission,
    Significance,
    SizeClass,
    StepKind,
    StudioTask,
    Target,
    WaterCategory,
)

Mark = Literal["published", "common practice", "from memory"]
MouldConditionNumber = Literal[1, 2, 3]
"""Condition 1, 2 or 3 of ANSI/IICRC S520."""


STRICTNESS = {Permission.YES: 0, Permission.CONSERVATOR: 1, Permission.NO: 2}
"""How strict a permission is; of several, the strictest counts."""

FactsError = fact_changes.FactsError


class Gate(Labelled):
    """What overrides every number in triage."""

    HUMAN_SAFETY = "human_safety", "Hold for people's safety"
    HAZARDOUS_CONTENTS = "hazardous_contents", "Made of something hazardous"
    CATEGORY_THREE = "category_three", "Category 3 water"
    VISIBLE_MOULD = "visible_mould", "Visible mould"
    CONSERVATOR_ONLY = "conservator_only", "Conservator only"


class Harm(Labelled):
    """What comes of doing what is never to be done, the gravest first.

    The order is ours: people before things; then what is gone at once and for good, before what
    can still be stopped within hours, before what a conservator can put right.
    """

    PEOPLE = "people", "Can hurt people"
    LOST = "lost", "Takes part of the piece away at once and for good"
    LASTING = "lasting", "Lasting harm within hours or days"
    MENDABLE = "mendable", "Harm that a conservator can mostly put right"


class Action(Labelled):
    """What may be done to a material besides a treatment programme."""

    FREEZE_WET = "freeze_wet", "Freeze while wet, to gain time"
    FREEZE_DRY = "freeze_dry", "Freeze while dry, against insects"
    VACUUM_DRY = "vacuum_dry", "Dry under vacuum without freezing"
    BLOT = "blot", "Blot"
    WATER_CLEANING = "water_cleaning", "Clean with water"


class RoomGroup(Labelled):
    """Materials that share a drying room's set point."""

    PAPER = "paper", "Paper and books"
    PHOTOGRAPH = "photograph", "Photographs"
    PAINTING = "painting", "Paintings on canvas"
    PANEL = "panel", "Panels, painted wood and frames"
    FURNITURE = "furniture", "Furniture"
    TEXTILE = "textile", "Textiles"
    LEATHER = "leather", "Leather, skin and ivory"
    METAL = "metal", "Metal"
    INORGANIC = "inorganic", "Ceramic, glass, stone and plastics"


class DryingBody(Labelled):
    """Shapes that dry alike, each reckoned as a slab."""

    SHEET = "sheet", "Sheets of paper"
    VOLUME = "volume", "Bound volumes, opened like a fan"
    PHOTOGRAPH = "photograph", "Photographs"
    PAINTING = "painting", "Paintings on canvas"
    PANEL = "panel", "Panels, painted wood and frames"
    FURNITURE = "furniture", "Furniture"
    TEXTILE = "textile", "Textiles"
    LEATHER = "leather", "Leather, skin and ivory"
    METAL = "metal", "Metal"
    INORGANIC = "inorganic", "Ceramic, glass, stone and plastics"


class Licence(Labelled):
    """What the person who signs a programme must hold."""

    NONE = "none", "None"
    TRAINED_OPERATOR = "trained_operator", "Trained operator"
    CERTIFIED_APPLICATOR = "certified_applicator", "Certified applicator"
    RADIATION_LICENCE = "radiation_licence", "Licensed irradiation plant"


class Serves(StrEnum):
    """Whether an agent acts on a target."""

    YES = "yes"
    PARTLY = "partly"
    NO = "no"


class StraightLine(StrEnum):
    """Whether a kind of object may be depreciated by age."""

    NO = "no"
    IF_ORDINARY = "if_ordinary"


class SharingRule(StrEnum):
    """With what a piece may share a container."""

    ANY = "any"
    ALIKE = "alike"
    ALONE = "alone"


class LimitKind(StrEnum):
    """Which limit of a gas a figure is."""

    OSHA_PEL_TWA = "osha_pel_twa"
    OSHA_PEL_CEILING = "osha_pel_ceiling"
    OSHA_STEL = "osha_stel"
    OSHA_EXCURSION_15_MIN = "osha_excursion_15_min"
    OSHA_ACTION_LEVEL = "osha_action_level"
    NIOSH_REL_TWA = "niosh_rel_twa"
    NIOSH_REL_STEL = "niosh_rel_stel"
    NIOSH_REL_CEILING = "niosh_rel_ceiling"
    NIOSH_IDLH = "niosh_idlh"
    ACGIH_TLV_TWA = "acgih_tlv_twa"
    ACGIH_TLV_LIGHT = "acgih_tlv_light"
    ACGIH_TLV_MODERATE = "acgih_tlv_moderate"
    ACGIH_TLV_HEAVY = "acgih_tlv_heavy"
    ACGIH_TLV_TWO_HOURS = "acgih_tlv_two_hours"
    LABEL_CLEARANCE = "label_clearance"
    CLEARANCE = "clearance"
    HAZARDOUS_LOW = "hazardous_low"
    HAZARDOUS_HIGH = "hazardous_high"


class Constant(StrEnum):
    """The single numbers that triage, valuation and planning work with."""

    IMMEDIATE_H = "immediate_h"
    URGENCY_FULL = "urgency_full"
    URGENCY_SCALE_H = "urgency_scale_h"
    NO_CLOCK_H = "no_clock_h"
    MOULD_PRECAUTION_H = "mould_precaution_h"
    MOULD_PRECAUTION_WARM_H = "mould_precaution_warm_h"
    MOULD_PRECAUTION_COLD_H = "mould_precaution_cold_h"
    MOULD_WARM_ABOVE_C = "mould_warm_above_c"
    MOULD_COLD_BELOW_C = "mould_cold_below_c"
    STABILISE_SHARE = "stabilise_share"
    ANTIQUE_AGE_Y = "antique_age_y"
    PROMISE_D = "promise_d"
    START_BY_FACTOR = "start_by_factor"
    THAW_MOST_H = "thaw_most_h"
    CLEARANCE_WAIT_H = "clearance_wait_h"
    ROOM_RH_MARGIN_PERCENT = "room_rh_margin_percent"
    ROOM_T_MARGIN_C = "room_t_margin_c"


def _split(cell: object) -> object:
    """Read a cell that lists several values, parted by semicolons."""
    if isinstance(cell, str):
        return tuple(part.strip() for part in cell.split(";") if part.strip())
    return cell


Phrases = Annotated[tuple[str, ...], BeforeValidator(_split)]
Positive = Annotated[float, Field(gt=0, allow_inf_nan=False)]
Finite = Annotated[float, Field(allow_inf_nan=False)]
Percent = Annotated[float, Field(ge=0, le=100)]
Share = Annotated[float, Field(ge=0, le=1)]
Severity = Annotated[float, Field(ge=1, le=3)]


class Row(BaseModel):
    """What every row has; ``changed_by`` names the signatory of a facility's change, if any."""

    model_config = ConfigDict(frozen=True, extra="forbid", str_strip_whitespace=True)

    source: str = Field(min_length=5)
    mark: Mark
    changed_by: str = ""

    @model_validator(mode="after")
    def _mark_is_the_weakest_source(self) -> Self:
        if self.changed_by:
            return self
        if "from memory" in self.source:
            weakest: Mark = "from memory"
        elif "common practice" in self.source:
            weakest = "common practice"
        else:
            weakest = "published"
        if self.mark != weakest:
            raise ValueError(f"mark is {self.mark!r} but the source makes it {weakest!r}")
        return self


class MaterialRow(Row):
    """How long a wet material can wait, what to do first and what never to do."""

    material: Material
    window_h: Positive
    gates: Annotated[tuple[Gate, ...], BeforeValidator(_split)] = ()
    route: Phrases = Field(min_length=1)
    never: Phrases = Field(min_length=1)
    note: str = ""


class RatingRow(Row):
    """Our ratings of a material: share of it that prompt work saves, mould class, room, and as
    what it dries.
    """

    material: Material
    salvage_gain: Share
    mould_sensitivity: MouldSensitivity
    room: RoomGroup
    drying_body: DryingBody


class HeatCeilingRow(Row):
    """The warmest air a material should meet, °C."""

    material: Material
    max_temperature_c: Finite
    note: str = ""


class PermissionRow(Row):
    """Whether an action may be done to a material; a missing row means conservator only."""

    material: Material
    action: Action
    permission: Permission
    reason: str


class GateRow(Row):
    """What a gate says, what to do first, and the least urgent band it leaves."""

    gate: Gate
    rank: int
    band: Band
    may_move: bool
    sentence: str
    do_first: str


class HazardGateRow(Row):
    """A hazard that fires a gate as long as it stands."""

    hazard: Hazard
    gate: Gate
    sentence: str


class DamageRow(Row):
    """What a damage means for the clock, the gates, the steps and the chamber."""

    damage: Damage
    clock: bool
    wets: bool
    mould_clock: bool
    window_h: Positive | None = None
    severity: Severity
    gates: Annotated[tuple[Gate, ...], BeforeValidator(_split)] = ()
    assumed_water: WaterCategory | None = None
    freeze_wet: Permission = Permission.YES
    steps: Annotated[tuple[StepKind, ...], BeforeValidator(_split)] = ()
    targets: Annotated[tuple[Target, ...], BeforeValidator(_split)] = ()
    do_first: str = ""
    never: Phrases = ()
    sentence: str

    @model_validator(mode="after")
    def _whatever_runs_out_starts_the_clock(self) -> Self:
        if (self.wets or self.mould_clock or self.window_h is not None) and not self.clock:
            raise ValueError("clock must be yes where it wets, grows mould or has a window")
        return self


class ResidueRow(Row):
    """A residue of fire: what it is and the order in which it comes off."""

    damage: Damage
    nature: str
    removal: Phrases = Field(min_length=1)


class ProhibitionRow(Row):
    """What comes of one thing that the materials and damages say never to do."""

    phrase: str
    harm: Harm


class WaterCategoryRow(Row):
    """A category of contaminated water."""

    category: WaterCategory
    meaning: str
    examples: Phrases
    severity: Severity
    gates: Annotated[tuple[Gate, ...], BeforeValidator(_split)] = ()


class MouldConditionRow(Row):
    """A condition of contamination by mould."""

    condition: Annotated[MouldConditionNumber, BeforeValidator(int)]
    meaning: str
    severity: Severity
    gates: Annotated[tuple[Gate, ...], BeforeValidator(_split)] = ()
    steps: Annotated[tuple[StepKind, ...], BeforeValidator(_split)] = ()
    targets: Annotated[tuple[Target, ...], BeforeValidator(_split)] = ()


class BandRow(Row):
    """The most hours left at which a piece falls in a band."""

    band: Band
    up_to_hours_left: Positive


class SignificanceRow(Row):
    """What a piece's significance multiplies its score by."""

    significance: Significance
    factor: Annotated[float, Field(ge=1, le=2)]


class ExtentRow(Row):
    """What the extent of a damage multiplies its severity by."""

    extent: Extent
    factor: Share


class ConstantRow(Row):
    """One number and its meaning."""

    name: Constant
    value: Finite
    unit: str
    meaning: str


class SpacingRow(Row):
    """A distance or a fill limit for chambers, racks and sites."""

    name: str
    value: Positive
    unit: str
    meaning: str


class RoomSetPointRow(Row):
    """The air a group of materials dries in."""

    group: RoomGroup
    t_low_c: Finite
    t_high_c: Finite
    rh_low_percent: Percent
    rh_high_percent: Percent
    rh_start_percent: Percent | None = None
    rh_step_percent: Percent | None = None
    rh_step_days: Positive | None = None
    air_speed_m_s: Positive
    typical_low_h: Positive
    typical_high_h: Positive
    note: str = ""

    @model_validator(mode="after")
    def _low_is_below_high(self) -> Self:
        for low, high in (
            ("t_low_c", "t_high_c"),
            ("rh_low_percent", "rh_high_percent"),
            ("typical_low_h", "typical_high_h"),
        ):
            if getattr(self, low) > getattr(self, high):
                raise ValueError(f"{low} is above {high}; swap them")
        return self


class AgentRow(Row):
    """A treatment agent: who may sign for it, what it needs, what it is by default."""

    agent: Agent
    default: Permission
    licence: Licence
    gas: str | None = None
    chamber: bool
    hazard: Hazard | None = None
    t_min_c: Finite | None = None
    t_max_c: Finite | None = None
    rh_min_percent: Percent | None = None
    rh_max_percent: Percent | None = None
    note: str


class AgentTargetRow(Row):
    """Whether an agent acts on a target."""

    agent: Agent
    target: Target
    serves: Serves
    sentence: str


class DenialRow(Row):
    """An agent barred from a material, or from a damage until a step is done."""

    agent: Agent
    material: Material | None = None
    damage: Damage | None = None
    until: StepKind | None = None
    permission: Permission
    reason: str

    @model_validator(mode="after")
    def _bars_one_thing(self) -> Self:
        if (self.material is None) == (self.damage is None):
            raise ValueError("name either a material or a damage, not both and not neither")
        if self.permission is Permission.YES:
            raise ValueError("a denial can't say yes; remove the row instead")
        return self


class LimitRow(Row):
    """A published limit of a gas; ``unit`` is ppm, % v/v or % of LFL."""

    gas: str
    kind: LimitKind
    value: Positive
    unit: Literal["ppm", "% v/v", "% of LFL"]
    note: str = ""


class GasRow(Row):
    """A gas that instruments read; its molar mass converts mg/m³ to ppm."""

    gas: str
    label: str
    molar_mass_g_mol: Positive


class WorkTimeRow(Row):
    """Time planned for a step: minutes for any piece, and more by the area of its largest face."""

    step: StepKind
    base_min: Positive
    per_m2_min: Annotated[float, Field(ge=0)]


class DryingBodyRow(Row):
    """A wet piece as a slab, for planning before its first weighing; per m² of largest face.

    ``soaked_kg_m2`` and ``damp_kg_m2`` are the water it took up, beyond what air at the room's
    set point leaves in it anyway.

    A volume is opened, or interleaved, into slabs that dry each by itself: ``opened_into`` is
    how many there are where nobody measured the piece, and a deeper one has more.
    """

    body: DryingBody
    dry_kg_m2: Positive
    thickness_m: Positive
    opened_into: Annotated[int, Field(ge=1)] | None = None
    open_faces: Annotated[int, Field(ge=1, le=2)]
    fibre_saturation: Positive
    diffusivity_m2_s: Positive
    soaked_kg_m2: Positive
    damp_kg_m2: Positive
    equilibrium: Literal["paper", "cotton", "leather", "wood", "none"]
    max_rh_step: Positive


class ScheduleRow(Row):
    """A published insect schedule, shown for comparison only: Lagan proposes no dose."""

    id: str
    agent: Agent
    condition: str
    temperature_c: Finite | None = None
    hold_low_h: Positive | None = None
    hold_high_h: Positive | None = None


class StepRow(Row):
    """A step, the steps that must be done before it if the piece needs them, and why.

    ``leave_out``: whether a conservator may sign for going on without it.
    """

    step: StepKind
    order: int
    requires: Annotated[tuple[StepKind, ...], BeforeValidator(_split)] = ()
    leave_out: Permission
    reason: str
    refusal: str


class ObjectTypeRow(Row):
    """Whether a type of object may be depreciated by age."""

    object_type: ObjectType
    straight_line: StraightLine
    sentence: str


class CautionRow(Row):
    """A caution, what makes it show, whom or what it guards, and whether it stays at the site.

    What is ``site_only`` tells of a danger of the place, which a piece that has left it does not
    carry along.
    """

    id: str
    trigger_kind: Literal[
        "always",
        "hazard",
        "peril",
        "water_category",
        "mould_condition",
        "agent",
        "damage",
        "material",
        "step",
        "leak",
    ]
    trigger: str = ""
    text: str
    guards: Literal["people", "piece"]
    site_only: bool


class DosingCheckRow(Row):
    """What somebody looks at with their own eyes before a gas goes into a chamber."""

    id: str
    text: str


class PackingRow(Row):
    """What never to do when packing and carrying pieces of these materials, so damaged.

    ``share`` is with what such a piece may be in one container: with any, only with pieces that
    the same row concerns, or with none. Where it is not any, the first phrase says so.
    """

    id: str
    share: SharingRule
    materials: Annotated[tuple[Material, ...], BeforeValidator(_split)] = ()
    damages: Annotated[tuple[Damage, ...], BeforeValidator(_split)] = ()
    never: Phrases = Field(min_length=1)

    @model_validator(mode="after")
    def _concerns_something(self) -> Self:
        if not self.materials and not self.damages:
            raise ValueError("name a material or a damage that the row concerns")
        return self


class StudioTaskRow(Row):
    """A task at the bench: what it does, and whether a small test area comes before it."""

    task: StudioTask
    does: str
    test_first: bool


class StudioCallRow(Row):
    """What calls for a task: all of the lists that are not empty, any member of each."""

    id: str
    task: StudioTask
    object_types: Annotated[tuple[ObjectType, ...], BeforeValidator(_split)] = ()
    materials: Annotated[tuple[Material, ...], BeforeValidator(_split)] = ()
    damages: Annotated[tuple[Damage, ...], BeforeValidator(_split)] = ()
    reason: str

    @model_validator(mode="after")
    def _calls_for_a_reason(self) -> Self:
        if not (self.object_types or self.materials or self.damages):
            raise ValueError("name an object type, a material or a damage that calls for the task")
        return self


class StudioOrderRow(Row):
    """A task that is done before another on one piece, if it is done at all, and why."""

    before: StudioTask
    after: StudioTask
    reason: str


class StudioMethodRow(Row):
    """A way to do a task: with water or not, on which groups of materials, and never on which.

    Of several ways that the rules allow, the first in the table is proposed.
    """

    id: str
    task: StudioTask
    label: str
    water_based: bool
    groups: Annotated[tuple[RoomGroup, ...], BeforeValidator(_split)] = Field(min_length=1)
    never_on: Annotated[tuple[Material, ...], BeforeValidator(_split)] = ()


class StudioGroundRow(Row):
    """What lies under or behind a surface, and whether water may come near it.

    ``shun_damp``: humidity above the group's set point harms it while it is worked on.
    """

    material: Material
    ground: str
    water: Permission
    shun_damp: bool
    reason: str


class StudioSizeRow(Row):
    """The largest face of a piece that still counts as this size."""

    size: SizeClass
    up_to_m2: Positive


class StudioRateRow(Row):
    """Hours of handwork that a task takes on one piece of a group of materials, by size."""

    task: StudioTask
    group: RoomGroup
    small_h: Positive
    medium_h: Positive
    large_h: Positive
    very_large_h: Positive

    @property
    def hours(self) -> Mapping[SizeClass, float]:
        """The hours of each size, smallest first."""
        return {
            SizeClass.SMALL: self.small_h,
            SizeClass.MEDIUM: self.medium_h,
            SizeClass.LARGE: self.large_h,
            SizeClass.VERY_LARGE: self.very_large_h,
        }

    @model_validator(mode="after")
    def _larger_takes_no_less(self) -> Self:
        hours = list(self.hours.values())
        if hours != sorted(hours):
            raise ValueError("a larger piece can't take fewer hours than a smaller one")
        return self


K = TypeVar("K")
R = TypeVar("R", bound=Row)


@dataclass(frozen=True)
class Facts:
    """All tables, typed. Mappings are read-only; missing permissions mean conservator only."""

    materials: Mapping[Material, MaterialRow]
    ratings: Mapping[Material, RatingRow]
    heat_ceilings: Mapping[Material, HeatCeilingRow]
    permissions: Mapping[tuple[Material, Action], PermissionRow]
    gates: Mapping[Gate, GateRow]
    hazard_gates: Mapping[Hazard, HazardGateRow]
    damages: Mapping[Damage, DamageRow]
    residues: Mapping[Damage, ResidueRow]
    prohibitions: Mapping[str, ProhibitionRow]
    water_categories: Mapping[WaterCategory, WaterCategoryRow]
    mould_conditions: Mapping[int, MouldConditionRow]
    bands: Mapping[Band, BandRow]
    significances: Mapping[Significance, SignificanceRow]
    extents: Mapping[Extent, ExtentRow]
    constants: Mapping[Constant, ConstantRow]
    spacings: Mapping[str, SpacingRow]
    room_set_points: Mapping[RoomGroup, RoomSetPointRow]
    agents: Mapping[Agent, AgentRow]
    agent_targets: Mapping[tuple[Agent, Target], AgentTargetRow]
    denials: Mapping[tuple[Agent, Material | None, Damage | None], DenialRow]
    limits: Mapping[tuple[str, LimitKind], LimitRow]
    gases: Mapping[str, GasRow]
    work_times: Mapping[StepKind, WorkTimeRow]
    drying_bodies: Mapping[DryingBody, DryingBodyRow]
    schedules: Mapping[str, ScheduleRow]
    steps: Mapping[StepKind, StepRow]
    object_types: Mapping[ObjectType, ObjectTypeRow]
    cautions: Mapping[str, CautionRow]
    dosing_checks: Mapping[str, DosingCheckRow]
    packing: Mapping[str, PackingRow]
    studio_tasks: Mapping[StudioTask, StudioTaskRow]
    studio_calls: Mapping[str, StudioCallRow]
    studio_order: Mapping[tuple[StudioTask, StudioTask], StudioOrderRow]
    studio_methods: Mapping[str, StudioMethodRow]
    studio_grounds: Mapping[Material, StudioGroundRow]
    studio_sizes: Mapping[SizeClass, StudioSizeRow]
    studio_rates: Mapping[tuple[StudioTask, RoomGroup], StudioRateRow]
    changes: tuple[ChangedCell, ...] = ()
    """What a facility changed, in the order of its file."""

    def constant(self, name: Constant) -> float:
        """Return one number, in the unit its name ends with."""
        return self.constants[name].value

    def permission(self, material: Material, action: Action) -> PermissionRow:
        """Return what a material allows; without a row it is conservator only."""
        row = self.permissions.get((material, action))
        if row is not None:
            return row
        return PermissionRow(
            material=material,
            action=action,
            permission=Permission.CONSERVATOR,
            reason="no table speaks of it",
            source="common practice, no source",
            mark="common practice",
        )

    def limit(self, gas: str, kind: LimitKind) -> LimitRow:
        """Return a limit of a gas.

        Raises:
            FactsError: if the tables hold none; the label then has to give it.
        """
        row = self.limits.get((gas, kind))
        if row is None:
            raise FactsError(
                f"limits.csv has no {kind.value} for {gas!r}: "
                "the licensed fumigator enters the limit from the label"
            )
        return row

    def spacing(self, name: str) -> SpacingRow:
        """Return a spacing or fill limit by name.

        Raises:
            FactsError: if there is no such row.
        """
        row = self.spacings.get(name)
        if row is None:
            raise FactsError(
                f"spacings.csv has no row {name!r}: use one of {', '.join(self.spacings)}"
            )
        return row

    def harm_of(self, phrase: str) -> Harm:
        """Return what comes of doing a thing that is never to be done.

        A thing that a facility added, which no row speaks of, counts among the gravest.
        """
        row = self.prohibitions.get(phrase)
        return Harm.PEOPLE if row is None else row.harm

    def room_for(self, materials: Collection[Material]) -> RoomSetPointRow:
        """Return the gentlest set point of a piece's materials: the coolest, then the slowest.

        Raises:
            FactsError: if no material is given.
        """
        _require_materials(materials)
        rooms = [self.room_set_points[self.ratings[material].room] for material in materials]
        return min(rooms, key=lambda row: (row.t_high_c, -row.typical_high_h))

    def heat_ceiling_c(self, materials: Collection[Material]) -> float:
        """Return the warmest air, °C, that all of a piece's materials stand.

        Raises:
            FactsError: if no material is given.
        """
        _require_materials(materials)
        return min(self.heat_ceilings[material].max_temperature_c for material in materials)

    def rows(self) -> Iterable[tuple[str, Row]]:
        """Yield every row with its table's name, for listings of constants and sources."""
        for table in _table_names():
            for row in getattr(self, table).values():
                yield table, row

    @cached_property
    def changed(self) -> tuple[tuple[str, Row], ...]:
        """Return the rows a facility has changed."""
        return tuple((name, row) for name, row in self.rows() if row.changed_by)

    def content(self) -> dict[str, list[dict[str, Any]]]:
        """Return every table as plain JSON values, rows in file order."""
        return {
            table: [row.model_dump(mode="json") for row in getattr(self, table).values()]
            for table in _table_names()
        }

    @cached_property
    def version(self) -> str:
        """Return the SHA-256 of the RFC 8785 bytes of the content, in hex."""
        return hashlib.sha256(rfc8785.dumps(self.content())).hexdigest()


@cache
def facts() -> Facts:
    """Return the facts as shipped, loaded once."""
    return load_facts()


def facts_version() -> str:
    """Return the version hash of the facts as shipped."""
    return facts().version


def load_facts(changes_csv: str = "") -> Facts:
    """Load all tables, with a facility's changes if given.

    ``changes_csv`` is the text of the facility's file; see :mod:`shared.fact_changes`. A changed
    row is marked common practice, its source gives each changed cell's value as shipped, signatory
    and reason, and the version hash is another.

    Raises:
        FactsError: naming the file, row and column at fault and the mend.
    """
    reader = _Reader(read_changes(changes_csv))
    read = reader.table
    studio_methods = read("studio_methods", StudioMethodRow, lambda row: row.id)
    loaded = Facts(
        materials=read("materials", MaterialRow, lambda row: row.material, Material),
        ratings=read("ratings", RatingRow, lambda row: row.material, Material),
        heat_ceilings=read("heat_ceilings", HeatCeilingRow, lambda row: row.material, Material),
        permissions=read(
            "permissions",
            PermissionRow,
            lambda row: (row.material, row.action),
            [(material, Action.FREEZE_WET) for material in Material],
        ),
        gates=read("gates", GateRow, lambda row: row.gate, Gate),
        hazard_gates=read("hazard_gates", HazardGateRow, lambda row: row.hazard),
        damages=read("damages", DamageRow, lambda row: row.damage, Damage),
        residues=read("residues", ResidueRow, lambda row: row.damage),
        prohibitions=read("prohibitions", ProhibitionRow, lambda row: row.phrase),
        water_categories=read(
            "water_categories", WaterCategoryRow, lambda row: row.category, WaterCategory
        ),
        mould_conditions=read(
            "mould_conditions", MouldConditionRow, lambda row: int(row.condition), (1, 2, 3)
        ),
        bands=read("bands", BandRow, lambda row: row.band, (Band.NOW, Band.TODAY, Band.THIS_WEEK)),
        significances=read(
            "significances", SignificanceRow, lambda row: row.significance, Significance
        ),
        extents=read("extents", ExtentRow, lambda row: row.extent, Extent),
        constants=read("constants", ConstantRow, lambda row: row.name, Constant),
        spacings=read("spacings", SpacingRow, lambda row: row.name),
        room_set_points=read("room_set_points", RoomSetPointRow, lambda row: row.group, RoomGroup),
        agents=read("agents", AgentRow, lambda row: row.agent, Agent),
        agent_targets=read(
            "agent_targets",
            AgentTargetRow,
            lambda row: (row.agent, row.target),
            [(agent, target) for agent in Agent for target in Target],
        ),
        denials=read("denials", DenialRow, lambda row: (row.agent, row.material, row.damage)),
        limits=read("limits", LimitRow, lambda row: (row.gas, row.kind)),
        gases=read("gases", GasRow, lambda row: row.gas),
        work_times=read("work_times", WorkTimeRow, lambda row: row.step),
        drying_bodies=read("drying_bodies", DryingBodyRow, lambda row: row.body, DryingBody),
        schedules=read("schedules", ScheduleRow, lambda row: row.id),
        steps=read("steps", StepRow, lambda row: row.step, StepKind),
        object_types=read("object_types", ObjectTypeRow, lambda row: row.object_type, ObjectType),
        cautions=read("cautions", CautionRow, lambda row: row.id),
        dosing_checks=read("dosing_checks", DosingCheckRow, lambda row: row.id),
        packing=read("packing", PackingRow, lambda row: row.id),
        studio_tasks=read("studio_tasks", StudioTaskRow, lambda row: row.task, StudioTask),
        studio_calls=read("studio_calls", StudioCallRow, lambda row: row.id),
        studio_order=read("studio_order", StudioOrderRow, lambda row: (row.before, row.after)),
        studio_methods=studio_methods,
        studio_grounds=read("studio_grounds", StudioGroundRow, lambda row: row.material, Material),
        studio_sizes=read(
            "studio_sizes",
            StudioSizeRow,
            lambda row: row.size,
            (SizeClass.SMALL, SizeClass.MEDIUM, SizeClass.LARGE),
        ),
        studio_rates=read(
            "studio_rates",
            StudioRateRow,
            lambda row: (row.task, row.group),
            [(row.task, group) for row in studio_methods.values() for group in row.groups],
        ),
    )
    reader.refuse_unused_changes()
    return replace(loaded, changes=reader.changed_cells())


def facts_as_json(loaded: Facts | None = None) -> dict[str, Any]:
    """Compile what the phone's triage needs, with the version hash of the facts.

    The result holds the tables triage reads, as lists of rows in file order, the permission to
    freeze a wet piece per material, the plain labels of every word they use, and the rows of any
    table that a facility changed, each with the material or damage it concerns.
    """
    known = loaded or facts()
    content = known.content()
    tables = {
        name: content[name]
        for name in (
            "materials",
            "ratings",
            "gates",
            "hazard_gates",
            "damages",
            "prohibitions",
            "water_categories",
            "mould_conditions",
            "bands",
            "significances",
            "extents",
            "constants",
            "steps",
            "cautions",
            "packing",
        )
    }
    tables["permissions"] = [
        row for row in content["permissions"] if row["action"] == Action.FREEZE_WET.value
    ]
    words: tuple[type[Labelled], ...] = (
        Material,
        Damage,
        Extent,
        Hazard,
        WaterCategory,
        Significance,
        Permission,
        StepKind,
        Target,
        Band,
        Gate,
    )
    labels = {
        vocabulary.__name__: {word.value: word.label for word in vocabulary} for vocabulary in words
    }
    changed = [
        {
            "table": table,
            "source": row.source,
            "material": getattr(row, "material", None),
            "damage": getattr(row, "damage", None),
        }
        for table, row in known.changed
    ]
    return {"version": known.version, "tables": tables, "labels": labels, "changed": changed}


def _table_names() -> list[str]:
    return [field.name for field in fields(Facts) if field.name != "changes"]


class _Reader:
    """Reads files into read-only mappings, using up a facility's changes on the way."""

    def __init__(self, changes: Iterable[Change]) -> None:
        self._waiting: dict[tuple[str, str], list[Change]] = {}
        for change in changes:
            self._waiting.setdefault((change.table, change.key), []).append(change)
        self._made: list[ChangedCell] = []

    def table(
        self, name: str, model: type[R], key_of: Callable[[R], K], covers: Iterable[K] = ()
    ) -> Mapping[K, R]:
        """Read ``name``.csv; every key of ``covers`` must have a row."""
        file = f"{name}.csv"
        text = (resources.files("shared") / "tables" / file).read_text(encoding="utf-8")
        reader = csv.DictReader(io.StringIO(text, newline=""), strict=True)
        _check_header(file, reader.fieldnames, _columns(model))
        rows: dict[K, R] = {}
        for number, cells in enumerate(reader, start=2):
            where = f"{file} row {number}"
            row = _parse(model, cells, where)
            key = key_of(row)
            if key in rows:
                raise FactsError(f"{where}: {_key_text(key)!r} is there twice; remove one")
            changes = self._waiting.pop((name, _key_text(key)), [])
            rows[key] = self._changed(row, cells, changes) if changes else row
            if key_of(rows[key]) != key:
                raise FactsError(
                    f"{changes[0].where}: a key can't be changed; change another column"
                )
        for needed in covers:
            if needed not in rows:
                raise FactsError(f"{file}: no row for {_key_text(needed)!r}; add one")
        return MappingProxyType(rows)

    def _changed(self, row: R, cells: dict[str, str], changes: Sequence[Change]) -> R:
        """Return the row with a facility's changes made, signed and marked as theirs."""
        made = []
        for change in changes:
            if change.column not in _columns(type(row)) - {"source", "mark"}:
                raise FactsError(
                    f"{change.where}, column {change.column!r}: no such column to change; "
                    "check its name"
                )
            made.append(ChangedCell(change, cells[change.column]))
        said = "; ".join(cell.words for cell in made)
        signed = {
            "source": f"changed by the facility: {said}; common practice, no source",
            "mark": "common practice",
            "changed_by": ", ".join(dict.fromkeys(change.signed_by for change in changes)),
        }
        values = {change.column: change.value for change in changes}
        new = _parse(
            type(row),
            cells | values | signed,
            changes[-1].where,
            {change.column: change.where for change in changes},
        )
        before, after = row.model_dump(mode="json"), new.model_dump(mode="json")
        for change in changes:
            was, is_now = before[change.column], after[change.column]
            # A facility may sign for what is shipped, so that a later release doesn't move it.
            refusal = None if was == is_now else why_protected(change, was, is_now)
            if refusal is not None:
                raise FactsError(
                    f"{change.where}, column {change.column}: {change.value or NOTHING} instead of "
                    f"{cells[change.column] or NOTHING} is not taken: {refusal}"
                )
        self._made += made
        return new

    def refuse_unused_changes(self) -> None:
        """Raise FactsError for a change that met no row."""
        for (table, key), unused in self._waiting.items():
            if table not in _table_names():
                raise FactsError(
                    f"changed facts, row {unused[0].row}, column table: there is no table "
                    f"{table!r}; use one of {', '.join(_table_names())}"
                )
            raise FactsError(
                f"changed facts, row {unused[0].row}, column key: {table}.csv has no row {key!r}; "
                "check the table and key"
            )

    def changed_cells(self) -> tuple[ChangedCell, ...]:
        """Return what was changed, in the order of the facility's file."""
        return tuple(sorted(self._made, key=lambda cell: cell.change.row))


def _require_materials(materials: Collection[Material]) -> None:
    if not materials:
        raise FactsError("materials: none given; say what the piece is made of")


def _columns(model: type[Row]) -> set[str]:
    return set(model.model_fields) - {"changed_by"}


def _key_text(key: object) -> str:
    parts = key if isinstance(key, tuple) else (key,)
    return "/".join("" if part is None else str(part) for part in parts)


def _check_header(file: str, found: Iterable[str] | None, expected: set[str]) -> None:
    names = set(found or ())
    for missing in sorted(expected - names):
        raise FactsError(f"{file} row 1: column {missing!r} is missing; add it")
    for unknown in sorted(names - expected):
        raise FactsError(f"{file} row 1: column {unknown!r} is not known; remove it")


def _parse(
    model: type[R],
    cells: Mapping[str, str],
    where: str,
    where_of_column: Mapping[str, str] = MappingProxyType({}),
) -> R:
    # An empty cell means the column's default, so that optional cells need no marker.
    filled = {column: cell for column, cell in cells.items() if cell not in ("", None)}
    try:
        return model.model_validate(filled)
    except ValidationError as error:
        first = error.errors()[0]
        path = [str(part) for part in first["loc"]]
        found = f"found {cells.get(path[0], '')!r}; mend the cell" if path else "mend the row"
        raise FactsError(
            f"{where_of_column.get(path[0], where) if path else where}, "
            f"column {'.'.join(path) or 'the row'}: {first['msg']} ({found})"
        ) from error
