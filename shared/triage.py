"""What moves first: gates, then a score whose every factor is shown.

The arithmetic is plain and every number comes from the tables, so that the phone's evaluator
gives the same answer from :func:`shared.facts.facts_as_json`.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Annotated, Self

from pydantic import AwareDatetime, BaseModel, ConfigDict, Field, field_validator, model_validator

from shared.facts import (
    STRICTNESS,
    Action,
    Constant,
    DamageRow,
    Facts,
    Gate,
    Harm,
    MaterialRow,
    MouldConditionNumber,
    Row,
    facts,
)
from shared.mould import MouldSensitivity
from shared.vocabulary import (
    Band,
    Damage,
    Extent,
    Hazard,
    Material,
    Permission,
    Significance,
    WaterCategory,
)

_BAND_ORDER = tuple(Band)
_HARM_ORDER = tuple(Harm)
_NO_GATE_RANK = 99


class DamageSeen(BaseModel):
    """One damage someone saw on a piece."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    damage: Damage
    extent: Extent = Extent.PARTIAL
    water_category: WaterCategory | None = None
    wet_since: AwareDatetime | None = None
    mould_condition: MouldConditionNumber | None = None


class FrozenInterval(BaseModel):
    """A time the piece was held frozen; ``end`` is None while it still is."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    start: AwareDatetime
    end: AwareDatetime | None = None

    @model_validator(mode="after")
    def _ends_after_start(self) -> Self:
        if self.end is not None and self.end < self.start:
            raise ValueError("end is before start; swap them")
        return self


class TriageInput(BaseModel):
    """What is known of a piece and all its parts.

    ``materials`` lists those of every part; left empty, the piece is taken as the most delicate.
    ``hazards`` are those that still stand where the piece is: leave out the ones cleared.
    ``loss_at`` is when the loss happened, used where no wetting time is known.
    ``mean_temperature_c`` is that of the air round the piece since it got wet, °C.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    now: AwareDatetime
    materials: tuple[Material, ...] = ()
    damages: tuple[DamageSeen, ...] = ()
    hazards: frozenset[Hazard] = frozenset()
    significance: Significance = Significance.ORDINARY
    value: Annotated[Decimal, Field(ge=0)] | None = None
    mean_temperature_c: float | None = None
    loss_at: AwareDatetime | None = None
    frozen: tuple[FrozenInterval, ...] = ()
    conservator_only: bool = False

    @field_validator("mean_temperature_c")
    @classmethod
    def _temperature_is_celsius(cls, value: float | None) -> float | None:
        if value is not None and not -40 <= value <= 60:
            raise ValueError(
                "mean_temperature_c must be between -40 and 60 °C; a figure in °F must be converted"
            )
        return value


class GateFired(BaseModel):
    """A gate that overrides the score, in words."""

    model_config = ConfigDict(frozen=True)

    gate: Gate
    sentence: str
    do_first: str


class Factor(BaseModel):
    """One factor of the score, in words."""

    model_config = ConfigDict(frozen=True)

    name: str
    value: float
    sentence: str


class NeverDo(BaseModel):
    """Something never to do, what it is because of (a material's or damage's label) and what
    would come of it.
    """

    model_config = ConfigDict(frozen=True)

    sentence: str
    because: str
    harm: Harm


class FreezeRuling(BaseModel):
    """Whether the wet piece as a whole may be frozen to gain time."""

    model_config = ConfigDict(frozen=True)

    permission: Permission
    sentence: str


class Triage(BaseModel):
    """What to do about a piece, how soon, and why.

    ``hours_left`` and ``deadline`` are None when no clock runs; ``deadline`` moves on while the
    piece is frozen (``paused``). ``score`` is urgency x severity x salvage gain x significance.
    """

    model_config = ConfigDict(frozen=True)

    gates: tuple[GateFired, ...]
    may_move: bool
    window_h: float | None
    hours_left: float | None
    deadline: datetime | None
    paused: bool
    band: Band
    score: float
    factors: tuple[Factor, ...]
    route: tuple[str, ...]
    never: tuple[NeverDo, ...]
    freeze_wet: FreezeRuling
    sentence: str
    value: Decimal | None
    facts_version: str
    changed_facts: tuple[str, ...]
    rank: int

    @property
    def first(self) -> str:
        """The first thing to do."""
        return self.route[0]

    @property
    def sort_key(self) -> tuple[int, int, float, Decimal]:
        """Sorts pieces: gates, then band, then score, then value, most pressing first."""
        worth = Decimal(0) if self.value is None else self.value
        return (self.rank, _BAND_ORDER.index(self.band), -self.score, -worth)


def assess(piece: TriageInput, known: Facts | None = None) -> Triage:
    """Triage one piece by the given facts, or by the facts as shipped."""
    return _Assessment(piece, known or facts()).result()


@dataclass(frozen=True)
class _Limit:
    """One window that runs from wetting, and what sets it."""

    window_h: float
    sentence: str


class _Assessment:
    """The steps of one triage; each method answers one question."""

    def __init__(self, piece: TriageInput, known: Facts) -> None:
        self.piece = piece
        self.facts = known
        self.material_rows = [
            known.materials[material] for material in dict.fromkeys(piece.materials)
        ]
        self.damages = [(seen, known.damages[seen.damage]) for seen in piece.damages]

    def result(self) -> Triage:
        """Put the answers together."""
        gates = self.gates()
        limit = self.limit()
        hours_left, clock_sentence = self.hours_left(limit)
        paused = limit is not None and self.is_frozen()
        band = self.band(gates, hours_left, paused)
        factors = self.factors(hours_left, clock_sentence)
        score = 1.0
        for factor in factors:
            score *= factor.value
        route = self.route(gates, limit)
        rows = [self.facts.gates[fired.gate] for fired in gates]
        return Triage(
            gates=tuple(gates),
            may_move=all(row.may_move for row in rows),
            window_h=None if limit is None else limit.window_h,
            hours_left=hours_left,
            deadline=None if hours_left is None else self.piece.now + timedelta(hours=hours_left),
            paused=paused,
            band=band,
            score=score,
            factors=tuple(factors),
            route=route,
            never=tuple(self.never()),
            freeze_wet=self.freeze_wet(),
            sentence=self.sentence(gates, band, hours_left, paused, route[0]),
            value=self.piece.value,
            facts_version=self.facts.version,
            changed_facts=self.changed_facts(),
            rank=min((row.rank for row in rows), default=_NO_GATE_RANK),
        )

    # --- gates -------------------------------------------------------------------------------

    def gates(self) -> list[GateFired]:
        """Return the gates that fire, the weightiest first, each once with all its causes."""
        causes: dict[Gate, list[str]] = {}
        for gate, cause in self._gate_causes():
            found = causes.setdefault(gate, [])
            if cause not in found:
                found.append(cause)
        return [
            GateFired(
                gate=gate,
                sentence=" ".join([row.sentence, *causes[gate]]),
                do_first=row.do_first,
            )
            for gate, row in sorted(self.facts.gates.items(), key=lambda pair: pair[1].rank)
            if gate in causes
        ]

    def _gate_causes(self) -> Iterable[tuple[Gate, str]]:
        for hazard in sorted(self.piece.hazards):
            hazard_row = self.facts.hazard_gates.get(hazard)
            if hazard_row is not None:
                yield hazard_row.gate, hazard_row.sentence
        for material_row in self.material_rows:
            for gate in material_row.gates:
                yield gate, f"{material_row.material.label}."
        for seen, damage_row in self.damages:
            for gate in damage_row.gates:
                yield gate, damage_row.sentence
            category = seen.water_category or damage_row.assumed_water
            if category is not None:
                for gate in self.facts.water_categories[category].gates:
                    yield gate, damage_row.sentence
            if seen.mould_condition is not None:
                condition_row = self.facts.mould_conditions[seen.mould_condition]
                for gate in condition_row.gates:
                    yield gate, f"{condition_row.meaning}."
        if self.piece.conservator_only:
            yield Gate.CONSERVATOR_ONLY, "It is marked so."
        if self.is_frozen() and self.freeze_wet().permission is Permission.NO:
            yield Gate.CONSERVATOR_ONLY, "It is frozen although it must not be."

    # --- the clock ---------------------------------------------------------------------------

    def limit(self) -> _Limit | None:
        """Return the shortest window that applies, or None if nothing runs out."""
        return min(self._limits(), key=lambda limit: limit.window_h, default=None)

    def _limits(self) -> Iterable[_Limit]:
        for _, row in self.damages:
            if row.window_h is not None:
                yield _Limit(row.window_h, row.sentence)
        if self._is_wet():
            if not self.material_rows:
                yield _Limit(
                    self.facts.constant(Constant.IMMEDIATE_H),
                    "Nobody has said what it is made of, so it is taken as the most delicate.",
                )
            for material_row in self.material_rows:
                yield _Limit(
                    material_row.window_h,
                    f"{material_row.material.label} comes to lasting harm in "
                    f"{_hours(material_row.window_h)} when wet.",
                )
        if self._mould_may_start():
            window_h, air = self._mould_window_h()
            yield _Limit(window_h, f"Mould may start within {_hours(window_h)}{air}.")

    def _is_wet(self) -> bool:
        return any(row.wets for _, row in self.damages)

    def _mould_may_start(self) -> bool:
        damp = any(row.mould_clock for _, row in self.damages)
        resistant = bool(self.material_rows) and all(
            self.facts.ratings[row.material].mould_sensitivity is MouldSensitivity.RESISTANT
            for row in self.material_rows
        )
        return damp and not resistant

    def _mould_window_h(self) -> tuple[float, str]:
        """Return the hours that mould needs, and the words for air that sets them apart."""
        temperature_c = self.piece.mean_temperature_c
        constant = self.facts.constant
        if temperature_c is not None and temperature_c > constant(Constant.MOULD_WARM_ABOVE_C):
            return constant(Constant.MOULD_PRECAUTION_WARM_H), " in air this warm"
        if temperature_c is not None and temperature_c < constant(Constant.MOULD_COLD_BELOW_C):
            return constant(Constant.MOULD_PRECAUTION_COLD_H), " in air this cold"
        return constant(Constant.MOULD_PRECAUTION_H), ""

    def hours_left(self, limit: _Limit | None) -> tuple[float | None, str]:
        """Return the hours left on the clock and a sentence saying why.

        The clock starts at the earliest wetting time known. Where none is known for a damage,
        the loss's own time stands in; where that is unknown too, the time counts as gone.
        """
        if limit is None:
            return None, "Nothing on it is running out."
        starts = [seen.wet_since or self.piece.loss_at for seen, row in self.damages if row.clock]
        known = [start for start in starts if start is not None]
        if len(known) < len(starts):
            left_h = min((limit.window_h - self._elapsed_h(start) for start in known), default=0.0)
            return (
                min(left_h, 0.0),
                f"{limit.sentence} Nobody knows since when, so that time is counted as gone.",
            )
        start = min(known)
        left_h = limit.window_h - self._elapsed_h(start)
        sentence = f"{limit.sentence} {_time_left(left_h)}"
        if any(seen.wet_since is None for seen, row in self.damages if row.clock):
            sentence += " Counted from the loss, for want of a better time."
        if start > self.piece.now:
            sentence += " Its starting time lies ahead: check the clock."
        return left_h, sentence

    def _elapsed_h(self, start: datetime) -> float:
        """Return hours from start till now, frozen time left out: freezing pauses the clock.

        Times are added up exactly, so that no rounding can let a later start seem the earlier.
        """
        total = max(self.piece.now - start, timedelta(0))
        frozen = timedelta(0)
        reached = start
        for interval in sorted(self.piece.frozen, key=lambda interval: interval.start):
            begin = max(interval.start, reached)
            end = min(interval.end or self.piece.now, self.piece.now)
            if end > begin:
                frozen += end - begin
                reached = end
        return (total - frozen) / timedelta(hours=1)

    def is_frozen(self) -> bool:
        """Return whether the piece is held frozen now."""
        now = self.piece.now
        return any(
            interval.start <= now and (interval.end is None or interval.end > now)
            for interval in self.piece.frozen
        )

    def band(self, gates: list[GateFired], hours_left: float | None, paused: bool) -> Band:
        """Return the band: the most urgent of the clock's and the gates'."""
        band = Band.CAN_WAIT
        if hours_left is not None and not paused:
            for row in self.facts.bands.values():
                if hours_left <= row.up_to_hours_left:
                    band = _sooner(band, row.band)
        for fired in gates:
            band = _sooner(band, self.facts.gates[fired.gate].band)
        return band

    # --- the score ---------------------------------------------------------------------------

    def factors(self, hours_left: float | None, clock_sentence: str) -> list[Factor]:
        """Return urgency, severity, salvage gain and significance, in that order."""
        constant = self.facts.constant
        counted_h = constant(Constant.NO_CLOCK_H) if hours_left is None else max(hours_left, 0.0)
        urgency = constant(Constant.URGENCY_FULL) / (
            1 + counted_h / constant(Constant.URGENCY_SCALE_H)
        )
        significance = self.facts.significances[self.piece.significance]
        return [
            Factor(name="urgency", value=urgency, sentence=clock_sentence),
            self._severity(),
            self._salvage_gain(),
            Factor(
                name="significance",
                value=significance.factor,
                sentence=f"{significance.significance.label}.",
            ),
        ]

    def _severity(self) -> Factor:
        worst, sentence = 1.0, "No damage was seen."
        if self.damages:
            worst, sentence = 0.0, ""
        for seen, row in self.damages:
            severity, words = row.severity, [row.sentence, f"{seen.extent.label}."]
            category = seen.water_category or row.assumed_water
            if category is not None:
                severity = max(severity, self.facts.water_categories[category].severity)
                words.append(f"{category.label}.")
            if seen.mould_condition is not None:
                condition_row = self.facts.mould_conditions[seen.mould_condition]
                severity = max(severity, condition_row.severity)
                words.append(f"{condition_row.meaning}.")
            weighed = severity * self.facts.extents[seen.extent].factor
            if weighed > worst:
                worst, sentence = weighed, " ".join(words)
        return Factor(name="severity", value=worst, sentence=sentence)

    def _salvage_gain(self) -> Factor:
        if not self.material_rows:
            return Factor(
                name="salvage gain",
                value=1.0,
                sentence="Nobody has said what it is made of, so all of it counts as savable.",
            )
        best = max(
            (self.facts.ratings[row.material] for row in self.material_rows),
            key=lambda rating: rating.salvage_gain,
        )
        return Factor(
            name="salvage gain",
            value=best.salvage_gain,
            sentence=f"{best.material.label}: about {best.salvage_gain:.0%} of it can be saved "
            "by prompt work.",
        )

    # --- words -------------------------------------------------------------------------------

    def freeze_wet(self) -> FreezeRuling:
        """Return the strictest permission of all materials and damages, with its reason."""
        permission, sentence = Permission.YES, "It may be frozen to gain time."
        if not self.material_rows:
            permission = Permission.CONSERVATOR
            sentence = "Nobody has said what it is made of: ask a conservator before freezing it."
        for material_row in self.material_rows:
            row = self.facts.permission(material_row.material, Action.FREEZE_WET)
            if STRICTNESS[row.permission] > STRICTNESS[permission]:
                permission = row.permission
                sentence = f"{_freeze_words(permission)} {row.material.label}: {row.reason}."
        for _, damage_row in self.damages:
            if STRICTNESS[damage_row.freeze_wet] > STRICTNESS[permission]:
                permission = damage_row.freeze_wet
                sentence = f"{_freeze_words(permission)} {damage_row.sentence}"
        return FreezeRuling(permission=permission, sentence=sentence)

    def route(self, gates: list[GateFired], limit: _Limit | None) -> tuple[str, ...]:
        """Return what to do, in order: gates, the worst damage, the most pressing material."""
        steps = [fired.do_first for fired in gates]
        by_severity = sorted(self.damages, key=lambda pair: -pair[1].severity)
        steps += [row.do_first for _, row in by_severity if row.do_first]
        if self._is_wet() and self.material_rows:
            pressing = min(self.material_rows, key=lambda row: row.window_h)
            steps += [_capital(step) for step in pressing.route]
        if not steps:
            steps = ["Keep it level and apart, with its label and nothing touching its face"]
        held = any(fired.gate is Gate.CONSERVATOR_ONLY for fired in gates)
        may_freeze = self.freeze_wet().permission is Permission.YES and not (
            held or self.is_frozen()
        )
        if limit is not None and self._is_wet() and may_freeze:
            steps.append("Freeze it if it can't be drying in time")
        return tuple(dict.fromkeys(steps))

    def never(self) -> Iterable[NeverDo]:
        """Yield what never to do and because of what, each thing once, the gravest first.

        What can hurt people comes first: what the table says so of, and all that is said by a row
        whose own gate protects people. Then it goes by harm, and of like harms by the window of
        what says it, the shortest first: that harm comes soonest.

        What only adds a condition or a reason to another, such as "warm it if it is mended" to
        "warm it", is left out: the plain one forbids it already.
        """
        because: dict[str, str] = {}
        gravity: dict[str, tuple[int, float]] = {}
        said_by: list[tuple[MaterialRow | DamageRow, str]] = [
            (row, row.material.label) for row in self.material_rows
        ]
        said_by += [(row, row.damage.label) for _, row in self.damages]
        for row, label in said_by:
            guards_people = any(gate is not Gate.CONSERVATOR_ONLY for gate in row.gates)
            for phrase in row.never:
                because.setdefault(phrase, label)
                harm = Harm.PEOPLE if guards_people else self.facts.harm_of(phrase)
                found = (_HARM_ORDER.index(harm), row.window_h or math.inf)
                gravity[phrase] = min(found, gravity.get(phrase, found))
        for phrase in sorted(because, key=lambda phrase: gravity[phrase]):
            if not any(_adds_to(phrase, plain) for plain in because):
                harm = _HARM_ORDER[gravity[phrase][0]]
                yield NeverDo(sentence=f"Never {phrase}", because=because[phrase], harm=harm)

    def sentence(
        self,
        gates: list[GateFired],
        band: Band,
        hours_left: float | None,
        paused: bool,
        first: str,
    ) -> str:
        """Return what a crew member needs to know, in a few plain sentences."""
        parts = [gates[0].sentence] if gates else []
        if paused and hours_left is not None:
            parts.append(
                f"Frozen: its clock stands still. {_time_left(hours_left)} "
                "Thaw it only when it can be dried at once."
            )
        elif hours_left is not None:
            parts.append(_time_left(hours_left))
        elif not gates:
            parts.append("Nothing on it is running out.")
        return " ".join([f"{band.label}.", *parts, f"First: {_lower(first)}."])

    def changed_facts(self) -> tuple[str, ...]:
        """Name the rows used here that a facility has changed."""
        materials = set(self.piece.materials)
        damages = {row.damage for _, row in self.damages}
        used = []
        for table, row in self.facts.changed:
            material, damage = getattr(row, "material", None), getattr(row, "damage", None)
            if (material is None or material in materials) and (
                damage is None or damage in damages
            ):
                used.append(_row_name(table, row))
        return tuple(used)


def _adds_to(phrase: str, plain: str) -> bool:
    """Return whether a prohibition only adds a condition or a reason to a plainer one."""
    return phrase.startswith((f"{plain} ", f"{plain}:"))


def _row_name(table: str, row: Row) -> str:
    return f"{table}: {row.source}"


def _sooner(one: Band, other: Band) -> Band:
    return min(one, other, key=_BAND_ORDER.index)


def _freeze_words(permission: Permission) -> str:
    if permission is Permission.NO:
        return "Do not freeze it."
    return "Freeze it only on a conservator's word."


def _hours(hours: float) -> str:
    # Rounded down: nobody should count on time that is not there.
    whole = int(hours)
    if whole < 1:
        return "less than an hour"
    if whole < 72:
        return f"{whole} hour{'s' if whole != 1 else ''}"
    days = whole // 24
    return f"{days} days"


def _time_left(hours_left: float) -> str:
    if hours_left <= 0:
        return (
            "Its time is up." if hours_left > -1 else f"Its time ran out {_hours(-hours_left)} ago."
        )
    return f"{_capital(_hours(hours_left))} left."


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _lower(text: str) -> str:
    return text[:1].lower() + text[1:]
