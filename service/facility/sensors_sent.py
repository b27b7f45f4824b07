"""What a sensor sends, read from JSON or CSV: one reading or many, each with its line.

A body that can't be read at all is refused whole. A reading that can't be read is refused alone,
with its line and its field; nothing is guessed, and the unit least of all.
"""

import csv
import io
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from decimal import Decimal, InvalidOperation
from hashlib import sha256
from typing import Any

from service.facility.sensors import MEASURE_OF, units_of
from shared import events as ev
from shared.ledger import canonical_bytes
from shared.quantities import OutOfRange, TemperatureUnit, to_celsius
from shared.records import Sensor
from shared.vocabulary import Measure

MAX_PUSH_BYTES = 1_048_576
MOST_READINGS = 2_000
NEEDED = ("sensor", "time", "value", "unit")
FIELDS = (*NEEDED, "temperature_c", "pressure_pa")
_FINEST = Decimal("1e-9")
_BOUNDS = {
    Measure.HUMIDITY: (Decimal(0), Decimal(100)),
    Measure.OXYGEN: (Decimal(0), Decimal(100)),
}


class BodyError(ValueError):
    """The whole of what was sent can't be read; the message says where and the mend."""


class ReadingError(ValueError):
    """One reading can't be taken; the message names the field and the mend."""


@dataclass(frozen=True)
class Sent:
    """One reading as it was sent. ``line``: its line in a CSV, its number in JSON, from 1."""

    line: int
    fields: dict[str, str]
    fault: str | None = None


@dataclass(frozen=True)
class Told:
    """One reading that was understood: ``name`` is made of all that it says."""

    sensor: Sensor
    taken_at: datetime
    value: str
    unit: ev.AirUnit
    temperature_c: str | None
    pressure_pa: str | None

    @property
    def name(self) -> str:
        """The id of its event. The same reading sent again has the same, and no other has it."""
        said = [
            self.sensor.sensor,
            ev.utc_text(self.taken_at),
            self.value,
            self.unit,
            self.temperature_c,
            self.pressure_pa,
        ]
        return f"reading-{sha256(canonical_bytes(said)).hexdigest()[:40]}"

    @property
    def celsius(self) -> str:
        """A temperature in °C, to a ten-thousandth where it had to be converted."""
        if self.unit == "degC":
            return self.value
        return f"{to_celsius(Decimal(self.value), TemperatureUnit.FAHRENHEIT):.4f}"


def read_json(data: bytes) -> list[Sent]:
    """One reading, a list of them, or an object with such a list. Raises ``BodyError``."""
    try:
        # Numbers stay as they were written, so that no digit is lost.
        said = json.loads(data, parse_float=str, parse_int=str, parse_constant=str)
    except (ValueError, RecursionError) as error:
        raise BodyError(f"this is no JSON: {error}. Mend it and send it again") from error
    if isinstance(said, dict) and "readings" in said:
        said = said["readings"]
    found = said if isinstance(said, list) else [said]
    return [_from_object(number, one) for number, one in enumerate(_bounded(found), start=1)]


def _from_object(number: int, one: Any) -> Sent:
    if not isinstance(one, dict):
        return Sent(number, {}, f"write it as an object with {', '.join(NEEDED)}")
    fields = {name: value for name, value in one.items() if isinstance(value, str)}
    wrong = next((name for name, value in one.items() if not isinstance(value, str)), None)
    fault = f"{wrong}: write it as text or as a number" if wrong is not None else _strange(fields)
    return Sent(number, fields, fault)


def _strange(fields: dict[str, str]) -> str | None:
    strange = next((name for name in fields if name not in FIELDS), None)
    return f"{strange}: no field of a reading; send {', '.join(FIELDS)}" if strange else None


def read_csv(data: bytes) -> list[Sent]:
    """A table with a line of heads and one reading a line. Raises ``BodyError``."""
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise BodyError("this is not UTF-8; save the table as CSV UTF-8") from error
    lines = csv.reader(io.StringIO(text, newline=""), strict=True)
    found: list[Sent] = []
    try:
        heads = [head.strip().casefold() for head in next(lines, [])]
        missing = [name for name in NEEDED if name not in heads]
        if missing or _strange(dict.fromkeys(heads, "")) or len(set(heads)) < len(heads):
            raise BodyError(
                f"line 1: the heads must be {', '.join(NEEDED)}, and may be {', '.join(FIELDS[4:])}"
                + (f"; missing: {', '.join(missing)}" if missing else "")
            )
        for cells in lines:
            if not any(cell.strip() for cell in cells):
                continue
            fields = {name: cell.strip() for name, cell in zip(heads, cells, strict=False)}
            fault = None
            if len(cells) != len(heads):
                fault = f"{len(cells)} cells, but the heads are {len(heads)}"
            given = {name: cell for name, cell in fields.items() if cell}
            found.append(Sent(lines.line_num, given, fault))
    except csv.Error as error:
        raise BodyError(f"line {lines.line_num}: {error}. Mend it and send it again") from error
    return list(_bounded(found))


def _bounded(found: list[Any]) -> list[Any]:
    if len(found) > MOST_READINGS:
        raise BodyError(
            f"{len(found)} readings; at most {MOST_READINGS} are taken at once, send them in parts"
        )
    return found


def understood(sent: Sent, sensors: Mapping[str, Sensor], allowed: Sequence[str]) -> Told:
    """What a reading says, for one of the ``sensors`` ``allowed``. Raises ``ReadingError``."""
    if sent.fault is not None:
        raise ReadingError(sent.fault)
    fields = sent.fields
    named = fields.get("sensor", "")
    sensor = sensors.get(named)
    if sensor is None:
        yours = ", ".join(sorted(allowed)[:8])
        why = f"“{named}” is not one of" if named else "name one of"
        raise ReadingError(f"sensor: {why}: {yours}")
    unit = _unit(fields.get("unit", ""), sensor)
    value = _value(fields.get("value", ""), unit)
    beside = {name: _beside(fields, name) for name in ("temperature_c", "pressure_pa")}
    if unit in {"mg/m3", "g/m3"} and None in beside.values():
        raise ReadingError(
            f"temperature_c, pressure_pa: {unit} needs both, as measured at the sensor; or send ppm"
        )
    return Told(sensor, _time(fields.get("time", "")), value, unit, **beside)


def _unit(text: str, sensor: Sensor) -> ev.AirUnit:
    taken = units_of(sensor)
    for unit in taken:
        if unit == text:
            return unit
    why = f"“{text}” is not taken" if text else "say it with every reading"
    raise ReadingError(f"unit: {why}; {sensor.sensor} takes: {', '.join(taken)}")


def _value(text: str, unit: str) -> str:
    measure = MEASURE_OF[unit]
    if text == "<LOD" and measure is Measure.GAS:
        return text
    value = _number("value", text)
    low, high = _BOUNDS.get(measure, (None, None))
    if low is not None and high is not None and not low <= value <= high:
        raise ReadingError(f"value: {text} {unit} can't be; it lies from {low} to {high}")
    if measure is Measure.TEMPERATURE:
        try:
            to_celsius(
                value, TemperatureUnit.CELSIUS if unit == "degC" else TemperatureUnit.FAHRENHEIT
            )
        except OutOfRange as error:
            raise ReadingError(f"value: {error}") from error
    return f"{value:f}"


def _beside(fields: dict[str, str], name: str) -> str | None:
    return f"{_number(name, fields[name]):f}" if name in fields else None


def _number(field: str, text: str) -> Decimal:
    try:
        value = Decimal(text)
    except InvalidOperation:
        value = Decimal("NaN")
    if not value.is_finite() or abs(value) >= Decimal(10) ** 12:
        why = f"“{text}” is no number" if text else "give the number"
        raise ReadingError(f"{field}: {why}; write digits, such as 21.5")
    exponent = value.as_tuple().exponent
    # Binary fractions are sent with digits that nobody measured; the record has nine places.
    return (
        value.quantize(_FINEST).normalize()
        if isinstance(exponent, int) and exponent < -9
        else value
    )


def _time(text: str) -> datetime:
    example = "2031-05-06T14:05:00Z"
    try:
        taken = datetime.fromisoformat(text.strip())
    except ValueError:
        why = f"“{text}” is no date and time" if text else "say when it was read"
        raise ReadingError(f"time: {why}; write {example}") from None
    if taken.tzinfo is None:
        raise ReadingError(f"time: “{text}” has no zone; write UTC, such as {example}")
    try:
        return taken.astimezone(UTC)
    except OverflowError:
        raise ReadingError(f"time: “{text}” is no date and time; write {example}") from None
