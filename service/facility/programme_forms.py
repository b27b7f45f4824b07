"""The programme form: what the licensed person typed, as a programme or as sentences to mend it."""

from collections.abc import Mapping, Sequence
from datetime import date
from decimal import Decimal, InvalidOperation

from pydantic import ValidationError

from shared.facts import Facts
from shared.programmes import Programme
from shared.quantities import OutOfRange, TemperatureUnit, to_celsius
from shared.vocabulary import Agent

Fault = tuple[str, str]
Typed = Mapping[str, Sequence[str]]
"""Every field of the form as it was typed."""

WINDOWS = {
    "concentration": "concentration",
    "dose": "dose",
    "temperature": "temperature",
    "rh": "relative humidity",
    "run": "length of the run",
}
FIELD_OF = {
    "concentration_ppm": "concentration_low",
    "dose_ppm_h": "dose_low",
    "temperature_c": "temperature_low",
    "run_min": "run_low",
    "rh": "rh_low",
    "clearance": "limit_ppm",
}
"""Where on the form a field of the programme was typed, when it is called otherwise there."""

MOST = Decimal(10) ** 12
"""No figure on a form is as large; a larger one is not worth the work of computing with it."""


class FormReader:
    """Reads fields one by one and keeps what is wrong with each."""

    def __init__(self, typed: Typed) -> None:
        self.typed = typed
        self.faults: list[Fault] = []

    def text(self, name: str) -> str:
        """The field without blanks around it; empty when it was left so."""
        return (self.typed.get(name) or [""])[0].strip()

    def wrong(self, name: str, sentence: str) -> None:
        """Note what is wrong with a field."""
        self.faults.append((name, sentence))

    def number(self, name: str, words: str) -> Decimal | None:
        """A finite number; ``None``, with the fault noted, when it is none."""
        text = self.text(name)
        try:
            value = Decimal(text)
        except InvalidOperation:
            value = Decimal("NaN")
        if value.is_finite() and abs(value) < MOST:
            return value
        self.wrong(
            name,
            f"{words}: “{text[:40]}” is no number that can be used; write it in digits"
            if text
            else f"{words}: fill this in",
        )
        return None

    def window(self, name: str) -> tuple[Decimal, Decimal] | None:
        """Two numbers in order; ``None``, with the fault noted, when they are not."""
        words = WINDOWS[name]
        low = self.number(f"{name}_low", f"Lowest {words}")
        high = self.number(f"{name}_high", f"Highest {words}")
        if low is None or high is None:
            return None
        if low > high:
            self.wrong(f"{name}_low", f"Lowest {words}: {low} is above the highest, {high}")
            return None
        return low, high


def read_programme(
    typed: Typed, version: int, known: Facts
) -> tuple[Programme | None, list[Fault]]:
    """The programme that was typed, or every fault in it with its field. No number is supplied."""
    form = FormReader(typed)
    agent = _agent(form)
    content: dict[str, object] = {
        "id": form.text("id"),
        "version": version,
        "label": form.text("label"),
        "family": form.text("family"),
        "agent": agent,
        "targets": list(typed.get("targets", [])),
        "exclusions": list(typed.get("exclusions", [])),
        "signed_by": form.text("signed_by"),
        "jurisdiction": form.text("jurisdiction"),
        "licence_no": form.text("licence_no") or None,
        "note": form.text("note"),
        "temperature_c": _temperatures(form),
        "rh": _hundredth(form.window("rh")),
        "run_min": _minutes(form),
    }
    for name in ("label", "family", "signed_by", "jurisdiction"):
        if not content[name]:
            form.wrong(name, f"{name.replace('_', ' ').capitalize()}: fill this in")
    if not content["targets"]:
        form.wrong("targets", "Against: tick at least one")
    try:
        content["expires"] = date.fromisoformat(form.text("expires"))
    except ValueError:
        form.wrong("expires", "Runs until: give a day, such as 2031-12-31")
    gas = known.agents[agent].gas if agent else None
    if gas is not None:
        content["concentration_ppm"] = form.window("concentration")
        content["dose_ppm_h"] = form.window("dose")
        content["clearance"] = {
            "gas": gas,
            "limit_ppm": form.number("limit_ppm", "Opened at"),
            "compare": form.text("compare"),
            "cited_from": form.text("cited_from"),
        }
        if len(form.text("cited_from")) < 3:
            form.wrong("cited_from", "Source of the limit: name the label, code or rule")
    if form.faults:
        return None, form.faults
    try:
        return Programme.model_validate(content), []
    except ValidationError as error:
        return None, [_fault(one["loc"], one["msg"]) for one in error.errors()]


def _agent(form: FormReader) -> Agent | None:
    try:
        return Agent(form.text("agent"))
    except ValueError:
        form.wrong("agent", "Agent: choose one")
        return None


def _temperatures(form: FormReader) -> tuple[float, float] | None:
    window = form.window("temperature")
    if window is None:
        return None
    try:
        unit = TemperatureUnit(form.text("temperature_unit"))
        low, high = (round(to_celsius(one, unit), 3) for one in window)
    except OutOfRange as error:
        form.wrong("temperature_low", str(error))
        return None
    except ValueError:
        form.wrong("temperature_unit", "Temperature in: choose °C or °F")
        return None
    return low, high


def _hundredth(window: tuple[Decimal, Decimal] | None) -> tuple[float, float] | None:
    return None if window is None else (float(window[0] / 100), float(window[1] / 100))


def _minutes(form: FormReader) -> tuple[int, int] | None:
    window = form.window("run")
    return None if window is None else (round(window[0] * 60), round(window[1] * 60))


def _fault(place: tuple[int | str, ...], message: str) -> Fault:
    named, _, rest = message.removeprefix("Value error, ").partition(": ")
    first = str(place[0]) if place else named
    if first == "clearance" and len(place) > 1:
        first = str(place[1])
    sentence = message.removeprefix("Value error, ") if place else rest or named
    words = first.replace("_", " ").capitalize()
    return FIELD_OF.get(first, first), f"{words}: {sentence}"


def typed_of(programme: Programme) -> dict[str, list[str]]:
    """The form as it would have been typed for ``programme``: the start of its next version."""
    windows: dict[str, Sequence[object]] = {
        "concentration": programme.concentration_ppm or ("", ""),
        "dose": programme.dose_ppm_h or ("", ""),
        "temperature": programme.temperature_c,
        "rh": [_plain(Decimal(str(one)) * 100) for one in programme.rh],
        "run": [_plain(Decimal(one) / 60) for one in programme.run_min],
    }
    typed = {
        f"{name}_{end}": [str(value)]
        for name, window in windows.items()
        for end, value in zip(("low", "high"), window, strict=True)
    }
    rule = programme.clearance
    single = {
        "id": programme.id,
        "label": programme.label,
        "family": programme.family,
        "agent": programme.agent.value,
        "temperature_unit": TemperatureUnit.CELSIUS.value,
        "limit_ppm": str(rule.limit_ppm) if rule else "",
        "compare": rule.compare if rule else "",
        "cited_from": rule.cited_from if rule else "",
        "signed_by": programme.signed_by,
        "licence_no": programme.licence_no or "",
        "jurisdiction": programme.jurisdiction,
        "expires": programme.expires.isoformat(),
        "note": programme.note,
    }
    typed |= {name: [value] for name, value in single.items()}
    typed["targets"] = [one.value for one in programme.targets]
    typed["exclusions"] = [one.value for one in programme.exclusions]
    return typed


def _plain(value: Decimal) -> str:
    return f"{value.normalize():f}"


def described(programme: Programme) -> list[tuple[str, str]]:
    """Every field of a programme in words, in the order people read them."""
    rule = programme.clearance

    def span(window: Sequence[object] | None, unit: str) -> str:
        return f"{window[0]} to {window[1]} {unit}" if window else "no gas"

    return [
        ("Name", programme.label),
        ("Agent", programme.agent.label),
        ("Against", ", ".join(target.label for target in programme.targets)),
        ("Concentration that counts", span(programme.concentration_ppm, "ppm")),
        ("Dose", span(programme.dose_ppm_h, "ppm·h")),
        ("Temperature", span(programme.temperature_c, "°C")),
        (
            "Relative humidity",
            span([_plain(Decimal(str(one)) * 100) for one in programme.rh], "%"),
        ),
        ("Whole run", span([f"{one / 60:g}" for one in programme.run_min], "h")),
        (
            "Never with",
            ", ".join(material.label for material in programme.exclusions)
            or "no exclusions beyond the tables",
        ),
        (
            "Opened at",
            f"{rule.compare.replace('_', ' ')} {rule.limit_ppm} ppm ({rule.cited_from})"
            if rule
            else "no gas to clear",
        ),
        ("No clean-down within", programme.family),
        ("Signed by", programme.signed_by),
        ("Licence", programme.licence_no or "none"),
        ("Jurisdiction", programme.jurisdiction),
        ("Runs until", programme.expires.isoformat()),
        ("Note", programme.note),
    ]


def changed(before: Programme, after: Programme) -> list[tuple[str, str, str]]:
    """What the new version says otherwise: the field, as it was, as it is."""
    return [
        (name, old, new)
        for (name, old), (_, new) in zip(described(before), described(after), strict=True)
        if old != new
    ]
