"""The invented facility, the programmes of its invented licensed person, and its instruments.

Every concentration, dose and duration below is made up so that the demonstration has something
to compute with. Only the clearance limits are real; each names the rule it is from.
"""

from datetime import date, datetime, time
from decimal import Decimal
from typing import Final, NamedTuple
from zoneinfo import ZoneInfo

from shared.events import InstrumentRegistered
from shared.facility import (
    Bench,
    Chamber,
    CleanDown,
    ColdStore,
    Facility,
    LicensedPerson,
    Room,
    Shift,
)
from shared.programmes import ClearanceRule, Programme
from shared.vocabulary import Agent, Material, StepKind, Target

ZONE: Final = "America/New_York"
"""A real IANA zone is needed to compute with; the place itself is invented."""

JURISDICTION: Final = "County of Wrayle (invented)"

NOT_A_DOSE: Final = (
    "invented for the demonstration; not a dose; the label and the licensed person decide"
)

HARD_GOODS: Final = frozenset({Material.CERAMIC_HIGH, Material.GLASS, Material.STONE})
"""All that a gas programme of this facility takes; every other material is excluded by name."""

CARBON_AIR: Final = "carbon-air"
ODOUR_GAS: Final = "odour-gas"
MOULD_GAS: Final = "mould-gas"

RECEIVING: Final = "bench-intake"
COLD_STORE: Final = "cold-store"
BROKEN_CHAMBER: Final = "chamber-middle"

_WORKDAYS: Final = (0, 1, 2, 3, 4)


def _shift(people: int, starts: int, ends: int, weekdays: tuple[int, ...] = _WORKDAYS) -> Shift:
    return Shift(weekdays=weekdays, starts=time(starts), ends=time(ends), people=people)


FUMIGATOR: Final = LicensedPerson(
    name="Sabra Thornquill (invented)",
    licence_no="DEMO-0417",
    jurisdiction=JURISDICTION,
    expires=date(2032, 1, 31),
    phone="555-0117",
    hours=(_shift(1, 8, 18),),
)

SECOND_FUMIGATOR: Final = LicensedPerson(
    name="Osric Pellowmere (invented)",
    licence_no="DEMO-0522",
    jurisdiction=JURISDICTION,
    expires=date(2031, 11, 30),
    phone="555-0122",
    hours=(_shift(1, 12, 20, (0, 2, 4)), _shift(1, 9, 14, (5,))),
)

FACILITY: Final = Facility(
    id="ropewalk",
    label="Ropewalk Treatment House (invented for demonstration)",
    zone=ZONE,
    altitude_m=40.0,
    stations=(
        Chamber(
            id="chamber-small",
            label="Small chamber",
            inside_mm=(1_200, 1_900, 1_100),
            door_mm=(900, 1_800),
            rail_mm=3_000,
            usable_fill=0.5,
            air_changes_per_h=12.0,
            programmes=(CARBON_AIR, ODOUR_GAS, MOULD_GAS),
            zones=("low", "high"),
        ),
        Chamber(
            id=BROKEN_CHAMBER,
            label="Middle chamber",
            inside_mm=(2_000, 2_200, 2_600),
            door_mm=(1_200, 2_000),
            rail_mm=12_000,
            usable_fill=0.55,
            air_changes_per_h=10.0,
            programmes=(CARBON_AIR, ODOUR_GAS, MOULD_GAS),
            zones=("door low", "middle", "back high"),
        ),
        Chamber(
            id="chamber-large",
            label="Large chamber",
            inside_mm=(2_600, 2_600, 4_800),
            door_mm=(2_400, 2_500),
            rail_mm=28_000,
            usable_fill=0.55,
            air_changes_per_h=8.0,
            programmes=(CARBON_AIR, ODOUR_GAS),
            zones=("door low", "middle", "back low", "back high"),
        ),
        Room(
            id="dry-paper",
            label="Drying room: paper, books, photographs, textiles",
            serves=(StepKind.DRY,),
            rack_mm=72_000,
            removal_g_h=6_500,
            temperature_c=20.0,
            rh=0.45,
            air_speed_m_s=0.25,
        ),
        Room(
            id="dry-paintings",
            label="Drying room: paintings and frames",
            serves=(StepKind.DRY,),
            rack_mm=54_000,
            removal_g_h=3_600,
            temperature_c=19.0,
            rh=0.53,
            air_speed_m_s=0.1,
        ),
        Room(
            id="dry-wood",
            label="Drying room: wood, furniture, leather",
            serves=(StepKind.DRY,),
            rack_mm=60_000,
            removal_g_h=3_000,
            temperature_c=18.0,
            rh=0.58,
            air_speed_m_s=0.15,
        ),
        Room(
            id="airing",
            label="Airing room",
            serves=(StepKind.AIR,),
            rack_mm=90_000,
            removal_g_h=1_500,
            temperature_c=20.0,
            rh=0.48,
        ),
        ColdStore(id=COLD_STORE, label="Cold store", usable_l=6_000, temperature_c=-25.0),
        Bench(
            id=RECEIVING,
            label="Intake and stabilising bench",
            serves=(StepKind.STABILISE,),
            shifts=(_shift(5, 7, 15), _shift(3, 15, 22), _shift(3, 8, 16, (5, 6))),
        ),
        Bench(
            id="bench-soot",
            label="Soot removal bench",
            serves=(StepKind.SOOT_REMOVAL,),
            shifts=(_shift(4, 8, 17), _shift(2, 8, 14, (5,))),
        ),
        Bench(
            id="bench-mould",
            label="Mould removal bench, under extraction",
            serves=(StepKind.MOULD_REMOVAL,),
            shifts=(_shift(2, 8, 16),),
        ),
        Bench(
            id="studio",
            label="Conservation studio",
            serves=(StepKind.STUDIO,),
            shifts=(_shift(4, 9, 17),),
        ),
    ),
    clean_downs=(
        CleanDown(before=CARBON_AIR, after=ODOUR_GAS, minutes=30, cost=40),
        CleanDown(before=CARBON_AIR, after=MOULD_GAS, minutes=45, cost=60),
        CleanDown(before=ODOUR_GAS, after=CARBON_AIR, minutes=60, cost=90),
        CleanDown(before=ODOUR_GAS, after=MOULD_GAS, minutes=90, cost=140),
        CleanDown(before=MOULD_GAS, after=CARBON_AIR, minutes=150, cost=260),
        CleanDown(before=MOULD_GAS, after=ODOUR_GAS, minutes=120, cost=220),
    ),
    licensed=(FUMIGATOR, SECOND_FUMIGATOR),
)

_EXCLUDED_FROM_GAS: Final = tuple(material for material in Material if material not in HARD_GOODS)

PROGRAMMES: Final = (
    Programme(
        id=CARBON_AIR,
        version=1,
        label="Activated carbon and air changes against smoke odour (invented)",
        family="air",
        agent=Agent.CARBON_AIR,
        targets=(Target.SMOKE_ODOUR,),
        temperature_c=(17.0, 23.0),
        rh=(0.40, 0.58),
        run_min=(2_880, 5_760),
        signed_by="Maelis Corrowby (invented)",
        jurisdiction=JURISDICTION,
        expires=date(2032, 4, 30),
        note="Invented for the demonstration. No gas is added; residue comes off before it.",
    ),
    Programme(
        id=ODOUR_GAS,
        version=1,
        label="Ozone against smoke odour, hard goods only (invented)",
        family="ozone",
        agent=Agent.OZONE,
        targets=(Target.SMOKE_ODOUR,),
        concentration_ppm=(Decimal("2"), Decimal("6")),
        dose_ppm_h=(Decimal("10"), Decimal("24")),
        temperature_c=(16.0, 25.0),
        rh=(0.40, 0.60),
        run_min=(720, 1_440),
        exclusions=_EXCLUDED_FROM_GAS,
        clearance=ClearanceRule(
            gas="ozone",
            limit_ppm=Decimal("0.1"),
            compare="at_most",
            cited_from="29 CFR 1910.1000 Table Z-1: ozone, 0.1 ppm",
        ),
        signed_by=FUMIGATOR.name,
        licence_no=FUMIGATOR.licence_no,
        jurisdiction=JURISDICTION,
        expires=date(2031, 12, 31),
        note=NOT_A_DOSE
        + ". Glass, hard stone and high-fired ceramic without organic colours or old mends.",
    ),
    Programme(
        id=MOULD_GAS,
        version=1,
        label="Chlorine dioxide against mould, hard goods only (invented)",
        family="chlorine-dioxide",
        agent=Agent.CHLORINE_DIOXIDE,
        targets=(Target.MOULD,),
        concentration_ppm=(Decimal("60"), Decimal("240")),
        dose_ppm_h=(Decimal("300"), Decimal("900")),
        temperature_c=(18.0, 26.0),
        rh=(0.62, 0.78),
        run_min=(900, 1_800),
        exclusions=_EXCLUDED_FROM_GAS,
        clearance=ClearanceRule(
            gas="chlorine_dioxide",
            limit_ppm=Decimal("0.1"),
            compare="at_most",
            cited_from="29 CFR 1910.1000 Table Z-1: chlorine dioxide, 0.1 ppm",
        ),
        signed_by=FUMIGATOR.name,
        licence_no=FUMIGATOR.licence_no,
        jurisdiction=JURISDICTION,
        expires=date(2031, 12, 31),
        note=NOT_A_DOSE
        + ". Glass, hard stone and high-fired ceramic without organic colours or old mends.",
    ),
)


def programme(programme_id: str) -> Programme:
    """The programme with this id; ``KeyError`` if there is none."""
    for candidate in PROGRAMMES:
        if candidate.id == programme_id:
            return candidate
    raise KeyError(programme_id)


class Meters(NamedTuple):
    """Which instrument reads a gas programme while dosing, and which for clearance."""

    dosing: InstrumentRegistered
    clearance: InstrumentRegistered


def _instrument(ref: str, gas: str, limit: str, until: date) -> InstrumentRegistered:
    return InstrumentRegistered(
        instrument=ref,
        gas=gas,
        detection_limit_ppm=limit,
        calibrated_until=datetime(until.year, until.month, until.day, tzinfo=ZoneInfo(ZONE)),
    )


OUT_OF_CALIBRATION: Final = _instrument("OZ-1", "ozone", "0.02", date(2031, 4, 12))
"""Still on the shelf, no longer good for a clearance."""

METERS: Final = {
    ODOUR_GAS: Meters(
        dosing=_instrument("OZ-3", "ozone", "0.05", date(2031, 10, 1)),
        clearance=_instrument("OZ-2", "ozone", "0.005", date(2031, 9, 1)),
    ),
    MOULD_GAS: Meters(
        dosing=_instrument("CD-1", "chlorine_dioxide", "1", date(2031, 8, 15)),
        clearance=_instrument("CD-2", "chlorine_dioxide", "0.02", date(2031, 8, 15)),
    ),
}
"""The dosing meter of the mould gas can't see its clearance limit; the other one can."""

INSTRUMENTS: Final = (
    OUT_OF_CALIBRATION,
    *(meter for pair in METERS.values() for meter in pair),
)
