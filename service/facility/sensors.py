"""Sensors: where each stands and what it measures, and who may write for it.

That a sensor stands in a zone is a fact of the job, so it is an event. Leave to write is a secret
token, made for some sensors and shown once: what is kept is its digest. A revoked token is refused
at its next request.
"""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, time
from hashlib import sha256
from secrets import token_hex, token_urlsafe
from types import MappingProxyType
from zoneinfo import ZoneInfo

from pydantic import BaseModel, ValidationError
from sqlmodel import Session, select

from service.facility.programme_forms import Fault, FormReader, Typed
from service.installation import Installation
from service.log import reading
from service.storage.tables import SensorHeardRow, SensorTokenRow
from shared import events as ev
from shared.facility import Chamber, Facility
from shared.facts import Facts
from shared.records import Sensor
from shared.vocabulary import Measure

UNITS: Mapping[Measure, tuple[ev.AirUnit, ...]] = MappingProxyType(
    {
        Measure.TEMPERATURE: ("degC", "degF"),
        Measure.HUMIDITY: ("%RH",),
        Measure.GAS: ("ppm", "mg/m3", "g/m3"),
        Measure.OXYGEN: ("%vol",),
    }
)
"""The units in which each thing may be sent."""
MEASURE_OF: Mapping[str, Measure] = MappingProxyType(
    {unit: measure for measure, units in UNITS.items() for unit in units}
)
END_OF_DAY = time(23, 59, 59)


def units_of(sensor: Sensor) -> tuple[ev.AirUnit, ...]:
    """The units that the sensor may send."""
    return tuple(unit for measure in sensor.measures for unit in UNITS[measure])


def spots(facility: Facility) -> list[tuple[str, str]]:
    """Where a sensor may stand: every zone of the chambers and every other place, with labels.

    A zone is written ``station/zone``.
    """
    found = []
    for station in facility.stations:
        if isinstance(station, Chamber):
            found += [
                (f"{station.id}/{zone}", f"{station.label}, {zone}") for zone in station.zones
            ]
        else:
            found.append((f"{station.id}/", station.label))
    return found


def read_sensor(
    typed: Typed, facility: Facility | None, known: Facts
) -> tuple[list[BaseModel], list[Fault]]:
    """What a form says of a sensor as events, or every fault in it with its field.

    A sensor for a gas is at the same time an instrument that the clearance rule may go by.
    """
    form = FormReader(typed)
    spot = form.text("spot")
    if facility is None or spot not in dict(spots(facility)):
        form.wrong("spot", "Where it stands: choose a zone or a room")
    measures = [one for one in typed.get("measures", []) if one in set(Measure)]
    if not measures:
        form.wrong("measures", "Measures: tick at least one")
    gas, least = form.text("gas"), None
    if Measure.GAS in measures:
        if gas not in known.gases:
            form.wrong("gas", "Gas: choose which gas it measures")
        least = form.number("least_seen", "Least it can see, ppm")
    calibrated_until: datetime | None = None
    try:
        day = date.fromisoformat(form.text("calibrated_until"))
        zone = ZoneInfo(facility.zone if facility else "UTC")
        calibrated_until = datetime.combine(day, END_OF_DAY, zone)
    except ValueError:
        form.wrong("calibrated_until", "Calibration due: give a day, such as 2031-12-31")
    if not form.text("name"):
        form.wrong("name", "Name: fill this in")
    if form.faults:
        return [], form.faults
    station, _, at = spot.partition("/")
    try:
        placed = ev.SensorPlaced.model_validate(
            {
                "sensor": form.text("sensor"),
                "name": form.text("name"),
                "station": station,
                "zone": at,
                "measures": measures,
                "gas": gas if least is not None else None,
                "calibrated_until": calibrated_until,
                "least_seen": None if least is None else f"{least:f}",
            }
        )
    except ValidationError as error:
        field = str(error.errors()[0]["loc"][0])
        return [], [(field, _WRONG.get(field, ev.describe(error)))]
    if placed.gas is None or placed.least_seen is None:
        return [placed], []
    as_instrument = ev.InstrumentRegistered(
        instrument=placed.sensor,
        gas=placed.gas,
        detection_limit_ppm=placed.least_seen,
        calibrated_until=placed.calibrated_until,
    )
    return [placed, as_instrument], []


_WRONG = {
    "sensor": "Short name: letters, digits, dots and dashes, at most 64, such as dry-1",
    "name": "Name: at most 300 characters",
    "least_seen": "Least it can see, ppm: write plain digits, such as 0.01",
}


def typed_of(sensor: Sensor, zone: str) -> dict[str, list[str]]:
    """The form as the sensor was last described."""
    due = sensor.calibrated_until.astimezone(ZoneInfo(zone)).date()
    return {
        "sensor": [sensor.sensor],
        "name": [sensor.name],
        "spot": [f"{sensor.station}/{sensor.zone}"],
        "measures": list(sensor.measures),
        "gas": [sensor.gas or ""],
        "least_seen": [sensor.least_seen or ""],
        "calibrated_until": [due.isoformat()],
    }


@dataclass(frozen=True)
class SensorLine:
    """A sensor as the lead sees it."""

    sensor: Sensor
    place: str
    heard: SensorHeardRow | None
    overdue: bool


def sensor_lines(session: Session, now: datetime) -> list[SensorLine]:
    """Every sensor with what it sent last."""
    facility = reading.facility(session).facility
    labels = dict(spots(facility)) if facility else {}
    return [
        SensorLine(
            one,
            labels.get(f"{one.station}/{one.zone}", f"{one.station} {one.zone}".strip()),
            session.get(SensorHeardRow, one.sensor),
            one.calibrated_until <= now,
        )
        for one in reading.sensors(session)
    ]


# --- tokens -------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Token:
    """Leave to write. Only here is the secret whole."""

    secret: str
    name: str
    sensors: tuple[str, ...]


@dataclass(frozen=True)
class TokenLine:
    """A token as the lead sees it."""

    row: SensorTokenRow
    sensors: tuple[str, ...]


def _digest(secret: str) -> str:
    return sha256(secret.encode()).hexdigest()


def make_token(here: Installation, *, name: str, sensors: list[str], actor: str) -> Token:
    """Make a token called ``name`` that writes for these sensors and no others."""
    # 256 bits: RFC 6750 asks for no less than 128 against guessing.
    made = Token(token_urlsafe(32), name, tuple(sensors))
    with here.database.write() as session:
        session.add(
            SensorTokenRow(
                id=token_hex(6),
                digest=_digest(made.secret),
                name=name,
                sensors=json.dumps(sensors),
                made_by=actor,
                made_at=ev.utc_text(here.now()),
            )
        )
    return made


def token_of(session: Session, secret: str) -> TokenLine | None:
    """The token with this secret, revoked or not; ``None`` when there is none."""
    row = session.exec(
        select(SensorTokenRow).where(SensorTokenRow.digest == _digest(secret))
    ).first()
    return _line(row) if row else None


def tokens(session: Session) -> list[TokenLine]:
    """Every token, those in use first, by name."""
    found = [_line(row) for row in session.exec(select(SensorTokenRow))]
    return sorted(found, key=lambda one: (one.row.revoked_at is not None, one.row.name))


def token(session: Session, token_id: str) -> TokenLine | None:
    """The token with this id."""
    row = session.get(SensorTokenRow, token_id)
    return _line(row) if row else None


def revoke_token(here: Installation, token_id: str, *, reason: str, actor: str) -> None:
    """Stop a token, from its next request on. One stopped before stays as it was."""
    with here.database.write() as session:
        row = session.get(SensorTokenRow, token_id)
        if row is not None and row.revoked_at is None:
            row.revoked_at = ev.utc_text(here.now())
            row.revoked_by, row.revoked_because = actor, reason
            session.add(row)


def _line(row: SensorTokenRow) -> TokenLine:
    return TokenLine(row, tuple(json.loads(row.sensors)))
