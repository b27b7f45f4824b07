"""The forms of the set-up: each part of a facility as it is typed, and what was typed as a part.

A field that is sent back as it was shown keeps exactly what is on file, whatever unit it was shown
in: opening a form and saving it changes nothing.
"""

import re
import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, time
from enum import StrEnum
from typing import Any

from pydantic import BaseModel, ValidationError

from service.facility import setup_units as unit
from service.facility.programme_forms import Fault, FormReader, Typed
from service.facility.setup_units import Measure, Units
from shared.facility import (
    Bench,
    Chamber,
    CleanDown,
    ColdStore,
    Facility,
    FacilityPart,
    Holiday,
    LicensedPerson,
    Room,
    Shift,
)
from shared.vocabulary import StepKind

DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
MOST_SHIFTS = 30

NOT_SAID = "not on file"
"""What stands for a field that nobody has filled in."""


class Input(StrEnum):
    """How a field is typed."""

    TEXT = "text"
    LINES = "textarea"
    DATE = "date"
    SELECT = "select"
    SEVERAL = "several"
    TICK = "tick"


@dataclass(frozen=True)
class Entry:
    """One field of a form, and where in the part it belongs."""

    name: str
    label: str
    measure: Measure | None = None
    input: Input = Input.TEXT
    hint: str = ""
    required: bool = True
    place: tuple[str | int, ...] = ()

    @property
    def path(self) -> tuple[str | int, ...]:
        """Where in the part it belongs; under its own name unless it was said."""
        return self.place or (self.name,)

    def words(self, units: Units) -> str:
        """The label with the unit beside it."""
        return f"{self.label}, {self.measure.unit(units)}" if self.measure else self.label


@dataclass(frozen=True)
class PartForm:
    """The form of one kind of part.

    ``shifts``: the field that holds working times, each of them a row of the form.
    ``told_by``: the field that tells one such part from the others.
    """

    kind: str
    word: str
    model: type[FacilityPart]
    entries: tuple[Entry, ...]
    told_by: str
    held_in: str = "stations"
    shifts: str = ""
    fixed: Mapping[str, object] = field(default_factory=dict)


_ID = Entry(
    "id",
    "Short id",
    required=False,
    hint="Small letters, digits and dashes. Left empty, it is made from the name. It stays.",
)
_QUARANTINE = Entry(
    "quarantine",
    "Kept apart for mould, insects and foul water",
    input=Input.TICK,
    required=False,
)
_SERVES = Entry("serves", "For", input=Input.SEVERAL)

CHAMBER = PartForm(
    "chamber",
    "Chamber",
    Chamber,
    (
        Entry("label", "Name"),
        _ID,
        Entry("inside_w", "Inside width", unit.LENGTH, place=("inside_mm", 0)),
        Entry("inside_h", "Inside height", unit.LENGTH, place=("inside_mm", 1)),
        Entry("inside_d", "Inside depth", unit.LENGTH, place=("inside_mm", 2)),
        Entry("door_w", "Door width", unit.LENGTH, place=("door_mm", 0)),
        Entry("door_h", "Door height", unit.LENGTH, place=("door_mm", 1)),
        Entry("rail_mm", "Hanging rail in all", unit.LENGTH),
        Entry(
            "usable_fill",
            "Share of the inside that a load may fill",
            unit.PERCENT,
        ),
        Entry("air_changes_per_h", "Air changes while airing", unit.AN_HOUR),
        Entry(
            "half_loss_h",
            "Gas falls to half in the shut chamber in",
            unit.HOURS,
            required=False,
            hint="As measured. Leave it empty until somebody has measured it.",
        ),
        Entry(
            "programmes",
            "Programmes it may run",
            input=Input.SEVERAL,
            required=False,
        ),
        Entry(
            "zones",
            "Where gas is measured",
            input=Input.LINES,
            hint="One place a line. A chamber is cleared only on readings from all of them.",
        ),
    ),
    "id",
)
ROOM = PartForm(
    "room",
    "Room",
    Room,
    (
        Entry("label", "Name"),
        _ID,
        _SERVES,
        Entry("rack_mm", "Rack in all", unit.LENGTH),
        Entry("removal_g_h", "Water it takes out of the air", unit.WATER),
        Entry("temperature_c", "Kept at", unit.TEMPERATURE),
        Entry("rh", "Relative humidity kept", unit.PERCENT),
        Entry("air_speed_m_s", "Air speed at the pieces", unit.AIR_SPEED),
        _QUARANTINE,
    ),
    "id",
)
STORE = PartForm(
    "store",
    "Cold store",
    ColdStore,
    (
        Entry("label", "Name"),
        _ID,
        Entry("usable_l", "Room for", unit.VOLUME),
        Entry("temperature_c", "Kept at", unit.TEMPERATURE),
        _QUARANTINE,
    ),
    "id",
)
BENCH = PartForm(
    "bench",
    "Bench",
    Bench,
    (Entry("label", "Name"), _ID, _SERVES),
    "id",
    shifts="shifts",
)
PERSON = PartForm(
    "person",
    "Licensed person",
    LicensedPerson,
    (
        Entry("name", "Name"),
        Entry("licence_no", "Licence number"),
        Entry("jurisdiction", "Jurisdiction", hint="Where the licence is good."),
        Entry("expires", "Licence runs until", input=Input.DATE),
        Entry("phone", "Telephone"),
    ),
    "licence_no",
    held_in="licensed",
    shifts="hours",
)
CLEAN_DOWN = PartForm(
    "clean-down",
    "Clean-down",
    CleanDown,
    (
        Entry("before", "After this programme", input=Input.SELECT),
        Entry("after", "Before this programme", input=Input.SELECT),
        Entry("minutes", "Work", unit.MINUTES),
        Entry("cost", "Cost", unit.MONEY),
    ),
    "after",
    held_in="clean_downs",
)
HOLIDAY = PartForm(
    "holiday",
    "Day on which nobody works",
    Holiday,
    (Entry("day", "Day", input=Input.DATE), Entry("label", "What it is")),
    "day",
    held_in="holidays",
)
HOUSE = PartForm(
    "house",
    "The house",
    Facility,
    (
        Entry("label", "Name"),
        _ID,
        Entry(
            "zone",
            "Time zone",
            hint="Its IANA name, such as Europe/Dublin. Every time on every page is local to it.",
        ),
        Entry("altitude_m", "Height above the sea", unit.ALTITUDE),
    ),
    "id",
    fixed={"stations": ()},
)
PARTS: Mapping[str, PartForm] = {
    one.kind: one for one in (CHAMBER, ROOM, STORE, BENCH, PERSON, CLEAN_DOWN, HOLIDAY)
}
STATIONS = ("chamber", "room", "store", "bench")
SERVED: Mapping[str, tuple[StepKind, ...]] = {
    "room": (StepKind.DRY, StepKind.AIR),
    "bench": (
        StepKind.STABILISE,
        StepKind.SOOT_REMOVAL,
        StepKind.MOULD_REMOVAL,
        StepKind.STUDIO,
    ),
}
"""The work that each kind of station can be for."""


# --- a part as it is typed -----------------------------------------------------------------------


def _at(part: BaseModel, path: Sequence[str | int]) -> Any:
    value: Any = getattr(part, str(path[0]))
    return value[path[1]] if len(path) > 1 else value


def _shown(entry: Entry, value: Any, units: Units) -> list[str]:
    if entry.input is Input.TICK:
        return ["yes"] if value else []
    if entry.input is Input.SEVERAL:
        return [str(one) for one in value]
    if entry.input is Input.LINES:
        return ["\n".join(value)]
    if value is None:
        return [""]
    return [entry.measure.shown(value, units) if entry.measure else str(value)]


def row_field(form: PartForm, row: int, name: str) -> str:
    """What a field of a working time is called on the form."""
    return f"{form.shifts}-{row}-{name}"


def typed_of(form: PartForm, part: BaseModel, units: Units) -> dict[str, list[str]]:
    """The form as it would have been typed for ``part`` in these units."""
    typed = {entry.name: _shown(entry, _at(part, entry.path), units) for entry in form.entries}
    shifts: tuple[Shift, ...] = getattr(part, form.shifts) if form.shifts else ()
    for row, shift in enumerate(shifts):
        typed |= _typed_shift(form, row, shift)
    return typed


def _typed_shift(form: PartForm, row: int, shift: Shift) -> dict[str, list[str]]:
    return {
        row_field(form, row, "days"): [str(day) for day in shift.weekdays],
        row_field(form, row, "starts"): [_clock(shift.starts)],
        row_field(form, row, "ends"): [_clock(shift.ends)],
        row_field(form, row, "people"): [str(shift.people)],
    }


def _clock(value: time) -> str:
    return f"{value:%H:%M}" if value == value.replace(second=0, microsecond=0) else str(value)


def rows_of(form: PartForm, typed: Typed) -> int:
    """How many working times the form has room for."""
    pattern = re.compile(rf"{form.shifts}-(\d{{1,2}})-\w+")
    found = [int(match[1]) for name in typed if (match := pattern.fullmatch(name))]
    return min(max(found, default=-1) + 1, MOST_SHIFTS)


# --- what was typed as a part --------------------------------------------------------------------


@dataclass
class _Reader:
    """Reads one form. Faults are kept in ``form``."""

    part: PartForm
    form: FormReader
    units: Units
    base: BaseModel | None
    shown: Typed

    def unchanged(self, name: str) -> bool:
        """Whether the field comes back as it was shown."""
        if self.base is None or name not in self.shown:
            return False
        return _same(self.form.typed.get(name, ()), self.shown[name])

    def content(self) -> dict[str, Any]:
        """All fields by their place in the part; what can't be read is left out."""
        found: dict[str, Any] = dict(self.part.fixed)
        for entry in self.part.entries:
            if self.base is not None and self.unchanged(entry.name):
                value = _at(self.base, entry.path)
            else:
                value = self._value(entry)
            name = str(entry.path[0])
            if len(entry.path) > 1:
                found.setdefault(name, []).append(value)
            else:
                found[name] = value
        return found

    def _value(self, entry: Entry) -> Any:
        form, text = self.form, " ".join(self.form.text(entry.name).split())
        if entry.input is Input.TICK:
            return bool(text)
        if entry.input is Input.SEVERAL:
            chosen = list(dict.fromkeys(form.typed.get(entry.name, ())))
            if entry.required and not chosen:
                form.wrong(entry.name, f"{entry.label}: tick at least one")
            return chosen
        if entry.input is Input.LINES:
            lines = [" ".join(line.split()) for line in form.text(entry.name).splitlines()]
            return [line for line in lines if line]
        if not text and not entry.required:
            return None
        if entry.measure:
            return entry.measure.read(form, entry.name, entry.label, self.units)
        if not text:
            form.wrong(entry.name, f"{entry.label}: fill this in")
        elif entry.input is Input.DATE:
            try:
                return date.fromisoformat(text)
            except ValueError:
                form.wrong(entry.name, f"{entry.label}: give a day, such as 2031-12-31")
        return text

    def shifts(self) -> tuple[list[object], list[int]]:
        """The working times, and which row of the form each stands in; blank rows are none."""
        found: list[object] = []
        rows: list[int] = []
        before: tuple[Shift, ...] = getattr(self.base, self.part.shifts) if self.base else ()
        for row in range(rows_of(self.part, self.form.typed)):
            names = {
                name: row_field(self.part, row, name)
                for name in ("days", "starts", "ends", "people")
            }
            days = list(dict.fromkeys(self.form.typed.get(names["days"], ())))
            if not days and not any(self.form.text(names[one]) for one in ("starts", "ends")):
                continue
            rows.append(row)
            if row < len(before) and all(map(self.unchanged, names.values())):
                found.append(before[row])
                continue
            if not days:
                self.form.wrong(names["days"], "Days: tick at least one")
            people = self.form.number(names["people"], "People there")
            if people is not None and people != int(people):
                self.form.wrong(names["people"], "People there: give a whole number")
            found.append(
                {
                    "weekdays": days,
                    "starts": self._time(names["starts"], "From"),
                    "ends": self._time(names["ends"], "Until"),
                    "people": people,
                }
            )
        if not rows:
            self.form.wrong(
                row_field(self.part, 0, "days"), "Working times: give at least one, with its days"
            )
        return found, rows

    def _time(self, name: str, words: str) -> time | None:
        text = self.form.text(name)
        try:
            return time.fromisoformat(text)
        except ValueError:
            self.form.wrong(
                name, f"{words}: write the time as 08:30" if text else f"{words}: fill this in"
            )
            return None


def _same(typed: Sequence[str], shown: Sequence[str]) -> bool:
    def told(values: Sequence[str]) -> list[str]:
        return sorted(
            "\n".join(" ".join(line.split()) for line in one.splitlines()) for one in values
        )

    return told(typed or [""]) == told(shown or [""])


def read_part(
    form: PartForm,
    typed: Typed,
    units: Units,
    *,
    base: BaseModel | None = None,
    taken: Iterable[str] = (),
) -> tuple[FacilityPart | None, list[Fault]]:
    """The part that was typed, or every fault in it with its field.

    ``base`` is the part on file that is changed; its id stays. ``taken`` are the ids of others.
    """
    shown = typed_of(form, base, units) if base is not None else {}
    reader = _Reader(form, FormReader(typed), units, base, shown)
    content = reader.content()
    rows: list[int] = []
    if form.shifts:
        content[form.shifts], rows = reader.shifts()
    if "id" in content:
        content["id"] = base.id if base is not None else _id_of(content, form, reader.form, taken)  # type: ignore[attr-defined]
    if base is not None:
        whole = {name: getattr(base, name) for name in form.model.model_fields}
        content = whole | content
    try:
        made = form.model.model_validate(content)
    except ValidationError as error:
        known = {name for name, _ in reader.form.faults}
        for one in error.errors():
            fault = _fault(form, one, units, rows)
            if fault[0] not in known:
                known.add(fault[0])
                reader.form.wrong(*fault)
        return None, reader.form.faults
    return (None, reader.form.faults) if reader.form.faults else (made, [])


def _id_of(
    content: Mapping[str, Any], form: PartForm, reader: FormReader, taken: Iterable[str]
) -> str:
    others = set(taken)
    given = str(content["id"] or "")
    if given:
        if given in others:
            reader.wrong("id", f"Short id: {given} is taken; choose another")
        return given
    label = unicodedata.normalize("NFKD", str(content.get("label") or "")).encode("ascii", "ignore")
    stem = re.sub(r"[^a-z0-9]+", "-", label.decode().lower()).strip("-")[:36].strip("-")
    stem = stem or form.kind
    numbered = (f"{stem}-{number}" for number in range(2, len(others) + 3))
    return stem if stem not in others else next(one for one in numbered if one not in others)


def _fault(form: PartForm, error: Any, units: Units, rows: Sequence[int]) -> Fault:
    """A fault that the part itself finds, at the field where it was typed and in its unit."""
    place = tuple(error["loc"])
    if form.shifts and place[:1] == (form.shifts,):
        row = rows[place[1]] if len(place) > 1 else 0
        name = {"weekdays": "days"}.get(str(place[-1]), str(place[-1]))
        name = name if name in {"days", "starts", "ends", "people"} else "ends"
        label = {"days": "Days", "starts": "From", "ends": "Until", "people": "People there"}[name]
        return row_field(form, row, name), f"{label}: {_sentence(error, None, units)}"
    for entry in form.entries:
        if place[: len(entry.path)] == entry.path or (
            place and place[0] == entry.path[0] and len(place) == 1
        ):
            return entry.name, f"{entry.label}: {_sentence(error, entry, units)}"
    return form.told_by, _sentence(error, None, units)


BOUNDS = {
    "greater_than": ("gt", "give more than"),
    "greater_than_equal": ("ge", "give at least"),
    "less_than": ("lt", "give less than"),
    "less_than_equal": ("le", "give at most"),
}


def _sentence(error: Any, entry: Entry | None, units: Units) -> str:
    kind, context = error["type"], error.get("ctx", {})
    if kind in BOUNDS:
        name, words = BOUNDS[kind]
        bound = context[name]
        if entry is None or entry.measure is None:
            return f"{words} {bound}"
        return f"{words} {entry.measure.shown(bound, units)} {entry.measure.unit(units)}"
    if kind == "string_too_long":
        return f"write at most {context['max_length']} characters"
    if kind == "string_pattern_mismatch":
        return "use small letters, digits and dashes only, at most 40"
    if kind in {"string_too_short", "too_short", "missing"}:
        return "fill this in"
    if kind in {"enum", "int_parsing", "date_type", "string_type"}:
        return "choose one that is offered"
    return str(error["msg"]).removeprefix("Value error, ")


def in_other_units(
    form: PartForm, typed: Typed, base: BaseModel | None, old: Units, new: Units
) -> tuple[dict[str, list[str]], list[Fault]]:
    """What was typed, in other units; with faults, and as it was, when a number can't be read."""
    reader = FormReader(typed)
    shown = typed_of(form, base, old) if base is not None else {}
    told = {name: list(values) for name, values in typed.items()}
    for entry in form.entries:
        text = reader.text(entry.name)
        if entry.measure is None or not text:
            continue
        if base is not None and _same([text], shown[entry.name]):
            kept = _at(base, entry.path)
        else:
            kept = entry.measure.read(reader, entry.name, entry.label, old)
        if kept is not None:
            told[entry.name] = [entry.measure.shown(kept, new)]
    if reader.faults:
        return {name: list(values) for name, values in typed.items()}, reader.faults
    return told, []


# --- a part in its facility ----------------------------------------------------------------------


def parts_of(facility: Facility, form: PartForm) -> list[FacilityPart]:
    """The parts of this kind, in order."""
    return [one for one in getattr(facility, form.held_in) if isinstance(one, form.model)]


def told_by(form: PartForm, part: BaseModel) -> str:
    """What tells a part from the others of its kind."""
    if isinstance(part, CleanDown):
        return f"{part.before} {part.after}"
    return str(getattr(part, form.told_by))


def with_part(
    facility: Facility, form: PartForm, was: BaseModel | None, now: FacilityPart | None
) -> Facility:
    """The facility with a part added, changed or (``now`` is ``None``) taken out.

    Raises ``ValidationError`` when the part can't be told from another.
    """
    if isinstance(now, Facility):
        return now
    held: list[Any] = list(getattr(facility, form.held_in))
    if was is None:
        held.append(now)
    else:
        at = held.index(was)
        held[at : at + 1] = [] if now is None else [now]
    fields = {name: getattr(facility, name) for name in Facility.model_fields}
    return Facility.model_validate(fields | {form.held_in: tuple(held)})


def name_of(form: PartForm, part: BaseModel) -> str:
    """What people call the part."""
    if isinstance(part, CleanDown):
        return f"{part.before}, then {part.after}"
    if isinstance(part, LicensedPerson):
        return part.name
    if isinstance(part, Holiday):
        return f"{part.day}, {part.label}"
    return str(getattr(part, "label", form.word))


def changes(before: Facility, after: Facility, units: Units) -> list[str]:
    """What one description says otherwise than another, in words and in these units."""
    found = _changed(HOUSE, before, after, units)
    for form in PARTS.values():
        old = {told_by(form, one): one for one in parts_of(before, form)}
        new = {told_by(form, one): one for one in parts_of(after, form)}
        for key in {**old, **new}:
            if key not in old:
                found.append(f"{form.word} “{name_of(form, new[key])}” was added")
            elif key not in new:
                found.append(f"{form.word} “{name_of(form, old[key])}” was taken out")
            else:
                found += _changed(form, old[key], new[key], units)
    return found


def _changed(form: PartForm, old: BaseModel, new: BaseModel, units: Units) -> list[str]:
    was, now = typed_of(form, old, units), typed_of(form, new, units)
    found = [
        f"{name_of(form, new)}: {entry.words(units)}: {_told(was[entry.name])}, "
        f"now {_told(now[entry.name])}"
        for entry in form.entries
        if was[entry.name] != now[entry.name]
    ]
    if form.shifts and getattr(old, form.shifts) != getattr(new, form.shifts):
        found.append(f"{name_of(form, new)}: other working times")
    return found


def _told(values: Sequence[str]) -> str:
    return ", ".join(values).replace("\n", ", ") or NOT_SAID


def described(form: PartForm, part: BaseModel, units: Units) -> list[tuple[str, str]]:
    """A part in words for its card: sides that belong together on one line."""
    typed = typed_of(form, part, units)
    found: dict[str | int, tuple[str, list[str], str]] = {}
    for entry in form.entries:
        if entry.name in {"label", "id", "name", "day"}:
            continue
        first = entry.path[0]
        said = entry.measure.unit(units) if entry.measure else ""
        if entry.measure is unit.LENGTH and units.length is unit.Lengths.FEET:
            said = ""  # Feet and inches carry their units themselves.
        words = entry.label
        text = _told(typed[entry.name])
        if entry.input is Input.TICK:
            text = "yes" if typed[entry.name] else "no"
        elif entry is _SERVES:
            text = ", ".join(StepKind(one).label.lower() for one in typed[entry.name])
        if len(entry.path) > 1:
            group, _, side = words.partition(" ")
            known = found.get(first)
            words = f"{known[0]} × {side}" if known else f"{group}: {side}"
            found[first] = (words, [*(known[1] if known else []), text], said)
        else:
            found[first] = (words, [text], said if text != NOT_SAID else "")
    pairs = [
        (words, " × ".join(texts) + (f" {said}" if said else ""))
        for words, texts, said in found.values()
    ]
    if form.shifts:
        pairs.append(("Hours", hours(getattr(part, form.shifts), form)))
    return pairs


def hours(shifts: Sequence[Shift], form: PartForm) -> str:
    """Working times in words; how many are there only where it is more than one's own."""
    return "; ".join(
        f"{', '.join(DAYS[day] for day in shift.weekdays)} {_clock(shift.starts)} to "
        f"{_clock(shift.ends)}" + ("" if form is PERSON else f", {shift.people} there")
        for shift in shifts
    )
