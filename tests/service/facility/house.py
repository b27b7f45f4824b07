"""A small invented facility, pieces in it and a run, for the tests.

Every dose, time and limit of the programmes is made up, but for the gas limit, which is only there
to be compared with.
"""

from datetime import date, datetime, time
from decimal import Decimal
from typing import Any

from pydantic import BaseModel

from scheduler.solve import solve
from service.facility.planning import build_problem
from service.facility.plans import Draft
from service.facility.runs import RunInHand, in_hand
from service.installation import Installation
from service.log.append import RefusedError
from shared import events as ev
from shared.facility import Bench, Chamber, ColdStore, Facility, LicensedPerson, Room, Shift
from shared.programmes import ClearanceRule, Programme
from shared.vocabulary import (
    Agent,
    Damage,
    Material,
    ObjectType,
    Phase,
    Role,
    StepKind,
    Target,
)
from tests.writers import LOSS, START, opened

VASE, BOWL, PANE, CANVAS, PLATE = (
    "0000000000001",
    "000000000002Y",
    "000000000003W",
    "000000000005S",
    "000000000006Q",
)
LICENCE = "LIC-1"
LEAD, FUMIGATOR, CONSERVATOR = "Ada Lead", "Fay Gas", "Con Servator"
EVERY_DAY = (0, 1, 2, 3, 4, 5, 6)
ZONES = ("low", "high")
LIMIT = Decimal("0.1")


def shift(starts: int, ends: int, people: int = 2, days: tuple[int, ...] = EVERY_DAY) -> Shift:
    return Shift(weekdays=days, starts=time(starts), ends=time(ends), people=people)


GAS = Programme(
    id="gas",
    version=1,
    label="Odour gas",
    family="gas",
    agent=Agent.OZONE,
    targets=(Target.SMOKE_ODOUR,),
    concentration_ppm=(Decimal(1), Decimal(2)),
    dose_ppm_h=(Decimal(1), Decimal(9)),
    temperature_c=(15.0, 25.0),
    rh=(0.3, 0.6),
    run_min=(600, 1200),
    exclusions=(Material.MARBLE_ALABASTER,),
    clearance=ClearanceRule(
        gas="ozone", limit_ppm=LIMIT, compare="at_most", cited_from="invented for the tests"
    ),
    signed_by=FUMIGATOR,
    licence_no=LICENCE,
    jurisdiction="Invented County",
    expires=date(2031, 12, 31),
)
AIR = Programme(
    id="air",
    version=1,
    label="Carbon air",
    family="air",
    agent=Agent.CARBON_AIR,
    targets=(Target.SMOKE_ODOUR,),
    temperature_c=(15.0, 25.0),
    rh=(0.3, 0.6),
    run_min=(600, 1200),
    signed_by=LEAD,
    jurisdiction="Invented County",
    expires=date(2031, 12, 31),
)
CHAMBER = Chamber(
    id="box",
    label="Box chamber",
    inside_mm=(1_000, 1_000, 1_000),
    door_mm=(800, 900),
    rail_mm=600,
    usable_fill=0.5,
    air_changes_per_h=10.0,
    programmes=("gas", "air"),
    zones=ZONES,
)
FACILITY = Facility(
    id="house",
    label="House of tests",
    zone="Europe/Dublin",
    stations=(
        CHAMBER,
        CHAMBER.model_copy(update={"id": "spare", "label": "Spare chamber"}),
        Room(
            id="dry",
            label="Drying room",
            serves=(StepKind.DRY,),
            rack_mm=20_000,
            removal_g_h=5_000,
            temperature_c=20.0,
            rh=0.5,
        ),
        Room(
            id="airing",
            label="Airing room",
            serves=(StepKind.AIR,),
            rack_mm=20_000,
            removal_g_h=500,
            temperature_c=20.0,
            rh=0.5,
        ),
        ColdStore(id="cold", label="Cold store", usable_l=2_000, temperature_c=-25.0),
        Bench(
            id="bench",
            label="Bench",
            serves=(
                StepKind.STABILISE,
                StepKind.SOOT_REMOVAL,
                StepKind.MOULD_REMOVAL,
                StepKind.STUDIO,
            ),
            shifts=(shift(8, 17),),
        ),
    ),
    licensed=(
        LicensedPerson(
            name=FUMIGATOR,
            licence_no=LICENCE,
            jurisdiction="Invented County",
            expires=date(2031, 12, 31),
            phone="555-0100",
            hours=(shift(9, 16, 1),),
        ),
    ),
)
METER = ev.InstrumentRegistered(
    instrument="M-1",
    gas="ozone",
    detection_limit_ppm="0.005",
    calibrated_until=datetime.fromisoformat("2031-12-31T00:00:00Z"),
)


def say(here: Installation, *bodies: BaseModel, role: Role = Role.LEAD, actor: str = LEAD) -> None:
    """Several events of the lead's, all or none."""
    here.log.say_all(bodies, actor=actor, role=role, loss=LOSS)


def why_refused(
    here: Installation, body: BaseModel, *, role: Role = Role.LEAD, actor: str = LEAD
) -> str | None:
    """Why an event was refused; ``None`` when it was stored."""
    try:
        say(here, body, role=role, actor=actor)
    except RefusedError as error:
        return str(error)
    return None


def furnish(here: Installation, facility: Facility = FACILITY, *programmes: Programme) -> None:
    """A loss, the facility, its programmes and its meter."""
    say(
        here,
        opened(),
        ev.FacilityDescribed(facility=facility),
        *(ev.ProgrammeSigned(programme=one) for one in programmes or (GAS, AIR)),
        METER,
    )


def size(height: str = "20", width: str = "20", depth: str | None = "10") -> ev.Size:
    """A size in centimetres."""
    return ev.Size.model_validate(
        {
            name: {"value": value, "unit": "cm"}
            for name, value in (("height", height), ("width", width), ("depth", depth))
            if value is not None
        }
    )


def bring(here: Installation, tag: str, *damages: Damage, **facts: Any) -> None:
    """A piece that came in: by default a small vase that smells of smoke."""
    chosen: dict[str, Any] = {
        "object_type": ObjectType.DECORATIVE,
        "materials": (Material.CERAMIC_HIGH,),
        "quantity": 1,
        "size": size(),
        "title": f"Piece {tag[-3:]}",
    }
    chosen |= facts
    tagging = {"object_type", "materials", "quantity", "parent", "role", "claim"}
    say(
        here,
        ev.ItemTagged.model_validate(
            {"tag": tag} | {name: chosen[name] for name in tagging & set(chosen)}
        ),
        ev.ItemDescribed.model_validate(
            {"tag": tag} | {name: chosen[name] for name in set(chosen) - tagging}
        ),
        *(ev.DamageNoted(tag=tag, damage=one) for one in damages or (Damage.SMOKE_ODOUR,)),
        ev.ItemReceived(tag=tag, station="bench"),
    )


def finish(here: Installation, tag: str, *steps: StepKind) -> None:
    """Steps that are done."""
    say(here, *(ev.StepDone(tag=tag, step=one, started_at=START, ended_at=START) for one in steps))


def allow(
    here: Installation,
    *tags: str,
    materials: tuple[Material, ...] = (Material.CERAMIC_HIGH,),
    agent: Agent = Agent.OZONE,
    expires: date = date(2031, 12, 31),
) -> None:
    """A conservator's override."""
    body = ev.OverrideSigned(
        override="OV-1",
        tags=tags,
        agent=agent,
        materials=materials,
        reason="looked at it",
        signed_by=CONSERVATOR,
        expires=expires,
    )
    say(here, body, role=Role.CONSERVATOR, actor=CONSERVATOR)


def open_run(
    here: Installation,
    *tags: str,
    run: str = "run-1",
    programme: Programme = GAS,
    station: str = "box",
) -> None:
    """A run that is ready to be loaded."""
    say(
        here,
        ev.RunOpened(
            run=run,
            station=station,
            programme=programme.id,
            version=programme.version,
            tags=tags,
        ),
        ev.PhaseEntered(run=run, phase=Phase.LOADING, at=here.now()),
    )


def why_not_loaded(here: Installation, tag: str, run: str = "run-1") -> str | None:
    """Why a piece was stopped at the door; ``None`` when it went in."""
    return why_refused(here, ev.ItemLoaded(run=run, tag=tag))


def checked(here: Installation, run: str = "run-1") -> ev.DosingChecked:
    """Every check before dosing, done now."""
    return ev.DosingChecked(run=run, checks=tuple(here.facts.dosing_checks), at=here.now())


def enter(here: Installation, *phases: Phase, run: str = "run-1") -> None:
    """Phases one after the other; before dosing, its checks are done."""
    for one in phases:
        if one is Phase.DOSING:
            say(here, checked(here, run))
        say(here, ev.PhaseEntered(run=run, phase=one, at=here.now()))


def hand_of(here: Installation, run: str = "run-1") -> RunInHand:
    """The run with what the interlock says of it now."""
    with here.database.read() as session:
        found = in_hand(session, run, here.now(), here.facts)
    assert found is not None
    return found


def quick_draft(here: Installation) -> Draft:
    """A plan made in this process, good enough to work by."""
    with here.database.read() as session:
        planning = build_problem(session, here.now(), known=here.facts)
    return Draft(planning, solve(planning.problem, seconds=3, workers=1, max_rounds=1))


def gas_read(
    here: Installation, zone: str, value: str = "0.02", run: str = "run-1", **facts: Any
) -> ev.GasRead:
    """A reading of the meter now."""
    body = {
        "run": run,
        "reading": f"r{zone.replace(' ', '-')}-{here.now():%d%H%M%S%f}",
        "zone": zone,
        "instrument": "M-1",
        "value": value,
        "unit": "ppm",
        "temperature_c": "20",
        "pressure_pa": "101325",
        "taken_at": here.now(),
    }
    return ev.GasRead.model_validate(body | facts)


def read_all(
    here: Installation, value: str = "0.02", oxygen: str = "20.9", run: str = "run-1"
) -> None:
    """Gas and oxygen in every zone."""
    for zone in ZONES:
        say(
            here,
            gas_read(here, zone, value, run),
            ev.OxygenRead(run=run, zone=zone, percent=oxygen, taken_at=here.now()),
            role=Role.FUMIGATOR,
            actor=FUMIGATOR,
        )


def sign_both(here: Installation, run: str = "run-1") -> str:
    """Both people sign what the readings say now; returns the digest they signed."""
    looked = hand_of(here, run).clearance
    digest = looked.readings or "0" * 64
    for actor, role, licence in ((FUMIGATOR, Role.FUMIGATOR, LICENCE), (LEAD, Role.LEAD, "")):
        body = ev.ClearanceSigned(
            run=run, signer=actor, licence_no=licence, readings=digest, seen_to=looked.seen_to
        )
        say(here, body, role=role, actor=actor)
    return digest


def why_not_opened(here: Installation, readings: str = "0" * 64, run: str = "run-1") -> str | None:
    """Why the opening was refused; ``None`` when it was stored."""
    body = ev.ChamberOpened(run=run, readings=readings, at=here.now())
    return why_refused(here, body, role=Role.FUMIGATOR, actor=FUMIGATOR)
