"""Invented pieces and runs to be plotted."""

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from decimal import Decimal

from demo_data.facility import FACILITY, INSTRUMENTS, ODOUR_GAS, PROGRAMMES, programme
from demo_data.readings import simulate_run
from shared import events as ev
from shared.facility import Chamber, Facility
from shared.programmes import Programme
from shared.records import Entry, FacilityBook, Instrument, Item, Loss, Run, fold_run
from shared.vocabulary import Damage, Material, Peril, Phase, Role
from tests.writers import LOSS, TAGS

WETTED = datetime(2031, 5, 5, 18, 0, tzinfo=UTC)
SEALED = datetime(2031, 5, 7, 9, 0, tzinfo=UTC)


def book(facility: Facility = FACILITY) -> FacilityBook:
    """The demonstration's facility as on record."""
    return FacilityBook(
        facility=facility,
        programmes=list(PROGRAMMES),
        instruments=[
            Instrument(
                instrument=one.instrument,
                gas=one.gas,
                detection_limit_ppm=one.detection_limit_ppm,
                calibrated_until=one.calibrated_until,
            )
            for one in INSTRUMENTS
        ],
    )


def drying_room() -> str:
    """A room of that facility where pieces dry."""
    return next(one.id for one in FACILITY.stations if one.kind == "room" and "dry" in one.serves)


def wet_piece(
    weighed: Sequence[tuple[float, str]] = (), *, in_room: bool = False, **changes: object
) -> Item:
    """A soaked print, with weighings as (hours since it was hung, kg)."""
    hung = WETTED + timedelta(hours=20)
    made = Item.model_validate(
        {
            "tag": TAGS[0],
            "loss": LOSS,
            "materials": [Material.PRINT_PAPER],
            "damages": [
                {
                    "damage": Damage.SOAKED,
                    "extent": "wide",
                    "wet_since": WETTED,
                    "water_category": None,
                    "note": "",
                }
            ],
            "size": {
                "height": {"value": "60", "unit": "cm"},
                "width": {"value": "80", "unit": "cm"},
            },
            "weighings": [
                {
                    "mass": {"value": kg, "unit": "kg"},
                    "taken_at": hung + timedelta(hours=hours),
                }
                for hours, kg in weighed
            ],
            "station": drying_room() if in_room else None,
            "station_since": hung.isoformat() if in_room else None,
        }
    )
    return made.model_copy(update=changes)


def flood(mean_temperature_c: str | None = "18") -> Loss:
    """The loss that the piece comes from."""
    return Loss(
        loss=LOSS,
        peril=Peril.OTHER,
        happened_at=WETTED,
        wet_since=WETTED,
        mean_temperature_c=mean_temperature_c,
    )


def gas_setting(programme_id: str = ODOUR_GAS) -> tuple[Programme, Chamber]:
    """A gas programme and a chamber that may run it."""
    signed = programme(programme_id)
    chamber = next(one for one in FACILITY.chambers if programme_id in one.programmes)
    return signed, chamber


def gas_run(until: timedelta, programme_id: str = ODOUR_GAS) -> Run:
    """A simulated run as the record has it ``until`` after sealing."""
    signed, chamber = gas_setting(programme_id)
    timeline = simulate_run("R-1", signed, chamber, SEALED).until(SEALED + until)
    opened = ev.RunOpened(
        run="R-1",
        station=chamber.id,
        programme=signed.id,
        version=signed.version,
        tags=(TAGS[0],),
    )
    journal = ev.Journal("gas-box", "Europe/Dublin")
    entries = []
    for number, (body, at) in enumerate(
        [(opened, SEALED), *((one.body, one.at) for one in timeline)], start=1
    ):
        event = journal.write(body, actor="Gas box", role=Role.FUMIGATOR, at=at, loss=None)
        entries.append(Entry(number, at, ev.event_digest(event), event, ev.decode(event)))
    run = fold_run("R-1", entries)
    assert run is not None
    return run


def limit_of(signed: Programme) -> Decimal:
    """The clearance limit of a gas programme, ppm."""
    assert signed.clearance is not None
    return signed.clearance.limit_ppm


def aired_for(run: Run) -> timedelta:
    """How long a run had been sealed when airing began."""
    began = run.began(Phase.AIRING)
    assert began is not None
    return began - SEALED
