"""The door that sensors write through: each reading is stored once, and answered by itself.

A reading of a chamber whose run it falls into belongs to that run; any other belongs to the log of
the air of its place. What comes late, out of order or from a clock that runs ahead is kept and
marked, for it is a fact; what can't be read is refused with the reason, and kept beside the log.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from hashlib import sha256

import structlog
from fastapi import APIRouter, HTTPException, Request
from pydantic import BaseModel
from sqlmodel import Session, col, select
from starlette.concurrency import run_in_threadpool
from starlette.requests import ClientDisconnect

from service.facility.sensors import MEASURE_OF, TokenLine, token_of
from service.facility.sensors_sent import (
    MAX_PUSH_BYTES,
    BodyError,
    ReadingError,
    Sent,
    Told,
    read_csv,
    read_json,
    understood,
)
from service.installation import Installation
from service.log import reading
from service.log.append import Outcome
from service.log.routes import Here
from service.storage.tables import LogRow, RefusedRow, SensorHeardRow
from shared import events as ev
from shared.clearance import CLOCK_SKEW
from shared.ledger import canonical_bytes
from shared.records import RunSheet, Sensor
from shared.vocabulary import Measure, Phase, Role

router = APIRouter(tags=["sensors"])
logger = structlog.get_logger()

AT_ONCE = 250
"""Readings stored in one transaction, so that nobody else waits long for the log."""
LATE = timedelta(minutes=10)
"""A reading older than this when it comes in is marked as late; ours, common practice."""
FUTURE_MARK, LATE_MARK, ORDER_MARK = "from the future", "late", "out of order"


class ReadingAnswer(BaseModel):
    """What became of one reading."""

    line: int
    sensor: str
    outcome: Outcome
    why: str | None = None
    marks: list[str] = []


class PushAnswer(BaseModel):
    """What became of everything in one request."""

    stored: int
    already_stored: int
    refused: int
    readings: list[ReadingAnswer]


class RevokedError(ValueError):
    """The token may not write; the message says why and what to do."""


def is_ahead(taken_at: datetime, received_at: datetime) -> bool:
    """Whether a reading's clock ran ahead, so that nobody knows when it was taken."""
    return taken_at > received_at + CLOCK_SKEW


def marks_of(taken_at: datetime, received_at: datetime, newest: datetime | None) -> list[str]:
    """What is odd about when a reading came; ``newest``: the latest that its sensor sent before."""
    if is_ahead(taken_at, received_at):
        return [FUTURE_MARK]
    found = []
    if received_at - taken_at > LATE:
        found.append(LATE_MARK)
    if newest is not None and taken_at < newest:
        found.append(ORDER_MARK)
    return found


def take(here: Installation, secret: str, sent: Sequence[Sent]) -> list[ReadingAnswer]:
    """Store readings, each once, for the sensors that the token names. Raises ``RevokedError``."""
    answers: list[ReadingAnswer] = []
    for part in _parts(sent):
        with here.database.write() as session:
            line = allowed(session, secret)
            line.row.used_at = ev.utc_text(here.now())
            session.add(line.row)
            taking = _Taking(here, session, line.sensors, line.row.name, Role.SENSOR)
            answers += taking.take(part)
    return answers


def take_file(
    here: Installation, sent: Sequence[Sent], sensors: Sequence[str], actor: str
) -> list[ReadingAnswer]:
    """Store readings that a person brought from these sensors, each once."""
    answers: list[ReadingAnswer] = []
    for part in _parts(sent):
        with here.database.write() as session:
            answers += _Taking(here, session, sensors, actor, Role.LEAD).take(part)
    return answers


def _parts(sent: Sequence[Sent]) -> Iterator[Sequence[Sent]]:
    """As many at a time as one transaction stores; one part, when there are none."""
    for at in range(0, max(len(sent), 1), AT_ONCE):
        yield sent[at : at + AT_ONCE]


def allowed(session: Session, secret: str) -> TokenLine:
    """The token with this secret. Raises ``RevokedError`` when it may not write."""
    line = token_of(session, secret)
    if line is None:
        raise RevokedError("this token is not known here; ask the facility lead for one")
    if line.row.revoked_at is not None:
        raise RevokedError(
            f"this token was revoked by {line.row.revoked_by}: {line.row.revoked_because}. Keep "
            "the readings and ask the facility lead for a new one"
        )
    return line


@dataclass
class _Taking:
    """One part of what was sent, being stored inside one transaction."""

    here: Installation
    session: Session
    allowed: Sequence[str]
    actor: str
    role: Role
    runs: dict[str, list[RunSheet]] = field(default_factory=dict)
    heard: dict[str, SensorHeardRow] = field(default_factory=dict)

    def take(self, sent: Sequence[Sent]) -> list[ReadingAnswer]:
        now = self.here.now()
        asked = {one.fields.get("sensor", "") for one in sent} & set(self.allowed)
        known = reading.sensors_named(self.session, asked)
        told: dict[int, Told] = {}
        why: dict[int, str] = {}
        for place, one in enumerate(sent):
            try:
                told[place] = understood(one, known, self.allowed)
            except ReadingError as error:
                why[place] = str(error)
                self._keep_refused(one, str(error), now)
        names = {place: one.name for place, one in told.items()}
        held = set(self.session.exec(select(LogRow.id).where(col(LogRow.id).in_(names.values()))))
        fresh: dict[str, Told] = {
            name: told[place] for place, name in names.items() if name not in held
        }
        if fresh:
            self.here.log.say_in(
                self.session,
                [self._body(name, one, now) for name, one in fresh.items()],
                actor=self.actor,
                role=self.role,
                names=fresh,
            )
        marks = {name: self._heard(one, now) for name, one in fresh.items()}
        return [
            self._answer(one, names.get(place), marks, why.get(place))
            for place, one in enumerate(sent)
        ]

    def _answer(
        self, sent: Sent, name: str | None, marks: dict[str, list[str]], why: str | None
    ) -> ReadingAnswer:
        sensor = sent.fields.get("sensor", "")
        if name is None:
            return ReadingAnswer(line=sent.line, sensor=sensor, outcome=Outcome.REFUSED, why=why)
        # Told twice in one request: the first of the two is stored.
        found = marks.pop(name, None)
        outcome = Outcome.ALREADY_STORED if found is None else Outcome.STORED
        return ReadingAnswer(line=sent.line, sensor=sensor, outcome=outcome, marks=found or [])

    def _keep_refused(self, sent: Sent, why: str, now: datetime) -> None:
        data = canonical_bytes(
            {
                "actor": self.actor,
                "body": {"type": "reading of a sensor", **sent.fields},
            }
        )
        self.session.merge(
            RefusedRow(
                digest=sha256(data).hexdigest(),
                event="",
                data=data,
                reason=why,
                received_at=ev.utc_text(now),
            )
        )

    def _heard(self, told: Told, now: datetime) -> list[str]:
        """Note what a sensor said last; what is odd about when this came."""
        name = told.sensor.sensor
        if name not in self.heard:
            self.heard[name] = self.session.get(SensorHeardRow, name) or SensorHeardRow(
                sensor=name, at="", newest="", last=""
            )
            self.session.add(self.heard[name])
        row = self.heard[name]
        newest = datetime.fromisoformat(row.newest) if row.newest else None
        marks = marks_of(told.taken_at, now, newest)
        row.at = ev.utc_text(now)
        row.readings += 1
        if newest is None or (told.taken_at >= newest and FUTURE_MARK not in marks):
            row.last = f"{told.value} {told.unit}"
            if FUTURE_MARK not in marks:
                row.newest = ev.utc_text(told.taken_at)
        return marks

    def _body(self, name: str, told: Told, now: datetime) -> BaseModel:
        sensor = told.sensor
        run = self._run_of(sensor, min(told.taken_at, now))
        if run is None:
            return ev.AirRead(
                station=sensor.station,
                zone=sensor.zone,
                sensor=sensor.sensor,
                value=told.value,
                unit=told.unit,
                temperature_c=told.temperature_c,
                pressure_pa=told.pressure_pa,
                taken_at=told.taken_at,
            )
        where = {"run": run, "zone": sensor.zone, "taken_at": told.taken_at}
        match MEASURE_OF[told.unit]:
            case Measure.GAS:
                said = {
                    "reading": name,
                    "instrument": sensor.sensor,
                    "value": told.value,
                    "unit": told.unit,
                    "temperature_c": told.temperature_c,
                    "pressure_pa": told.pressure_pa,
                }
                return ev.GasRead.model_validate(where | said)
            case Measure.OXYGEN:
                said = {"sensor": sensor.sensor, "percent": told.value}
                return ev.OxygenRead.model_validate(where | said)
            case Measure.TEMPERATURE:
                said = {"sensor": sensor.sensor, "temperature_c": told.celsius}
                return ev.ClimateRead.model_validate(where | said)
            case Measure.HUMIDITY:
                said = {"sensor": sensor.sensor, "rh_percent": told.value}
                return ev.ClimateRead.model_validate(where | said)

    def _run_of(self, sensor: Sensor, at: datetime) -> str | None:
        """The run that stood in the sensor's chamber at a moment, the latest of several."""
        if sensor.station not in self.runs:
            self.runs[sensor.station] = reading.runs(self.session, sensor.station)
        begun = [
            (run.phases[0].at, run.run)
            for run in self.runs[sensor.station]
            if run.phases and run.phases[0].at <= at and not _unloaded_before(run, at)
        ]
        return max(begun)[1] if begun else None


def _unloaded_before(run: RunSheet, at: datetime) -> bool:
    return run.phase is Phase.UNLOADED and run.phases[-1].at < at


# --- the door -----------------------------------------------------------------------------------


async def _body_of(request: Request) -> bytes:
    data = bytearray()
    try:
        async for chunk in request.stream():
            data += chunk
            if len(data) > MAX_PUSH_BYTES:
                raise HTTPException(
                    413, f"at most {MAX_PUSH_BYTES} bytes are taken at once; send it in parts"
                )
    except ClientDisconnect as error:
        raise HTTPException(400, "it broke off before its end; send it again") from error
    return bytes(data)


def _secret_of(request: Request) -> str:
    scheme, _, secret = request.headers.get("authorization", "").partition(" ")
    if scheme.casefold() != "bearer" or not secret.strip():
        raise HTTPException(
            401,
            "send the token in the head “Authorization: Bearer …”",
            headers={"www-authenticate": "Bearer"},
        )
    return secret.strip()


def _push(here: Installation, secret: str, kind: str, data: bytes) -> PushAnswer:
    try:
        with here.database.read() as session:
            allowed(session, secret)
        readers = {"application/json": read_json, "text/csv": read_csv}
        if kind not in readers:
            raise HTTPException(
                415, f"content-type: “{kind}” is not taken; send {' or '.join(readers)}"
            )
        answers = take(here, secret, readers[kind](data))
    except RevokedError as error:
        raise HTTPException(401, str(error), headers={"www-authenticate": "Bearer"}) from error
    except BodyError as error:
        raise HTTPException(422, f"nothing was stored: {error}") from error
    counts = {outcome.value: 0 for outcome in Outcome}
    for one in answers:
        counts[one.outcome.value] += 1
    logger.info("readings taken", **counts)
    return PushAnswer(**counts, readings=answers)


@router.post(
    "/sensors/readings",
    summary="Store readings of sensors, each at most once",
    responses={
        401: {"description": "No token, or one that may not write"},
        413: {"description": "Too much at once"},
        415: {"description": "Neither JSON nor CSV"},
        422: {"description": "The whole can't be read; nothing was stored"},
    },
    openapi_extra={
        "requestBody": {"required": True, "content": {"application/json": {}, "text/csv": {}}}
    },
)
async def push(request: Request, here: Here) -> PushAnswer:
    """Every reading gets an answer: stored, already stored, or refused with the reason.

    Send a reading again until its answer says stored or already stored. Each names its sensor,
    its time with the zone, its value and its unit; `mg/m3` and `g/m3` need `temperature_c` and
    `pressure_pa` at the sensor beside them.
    """
    secret = _secret_of(request)
    kind = request.headers.get("content-type", "").partition(";")[0].strip().casefold()
    data = await _body_of(request)
    return await run_in_threadpool(_push, here, secret, kind, data)


def lines_of(answers: Sequence[ReadingAnswer]) -> Iterator[str]:
    """Every reading that was refused, as a sentence with its line."""
    for one in answers:
        if one.outcome is Outcome.REFUSED:
            yield f"line {one.line}: {one.why}"
