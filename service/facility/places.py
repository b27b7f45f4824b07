"""Where a piece may stand: what each place holds, where to put it, and what speaks against it.

What a phone wrote of a place is never refused, for it already happened. What a person is about to
do at the facility's pages is looked at here first: some of it can't be, some needs a reason.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlmodel import Session

from service.assessing import remaining_steps
from service.facility.loading import litres, rack_mm, rail_mm, runs_holding
from service.log import reading
from service.log.reading import EVERYTHING, ItemFilter
from shared.facility import Bench, Chamber, ColdStore, Room
from shared.facts import Facts
from shared.records import FacilityBook, Item, Loss
from shared.triage import Triage
from shared.vocabulary import (
    Band,
    Damage,
    Hazard,
    Permission,
    Phase,
    StepKind,
    WaterCategory,
)

UNKNOWN_HAZARDS = frozenset({Hazard.ASBESTOS, Hazard.LEAD_OR_ARSENIC, Hazard.NITRATE_FILM})
"""What is only suspected on a site until somebody qualified has looked at the pieces."""
WETTED = frozenset({Damage.SOAKED, Damage.DAMP, Damage.SALT_WATER, Damage.MUD})
AT_REST = frozenset({Phase.PLANNED, Phase.CLEARED})


@dataclass(frozen=True)
class Place:
    """A station with what stands there. ``most`` is ``None`` where nothing is measured.

    taken, most: in ``unit`` (metres of rack, or litres).
    """

    id: str
    label: str
    station: Chamber | Room | ColdStore | Bench
    pieces: tuple[Item, ...]
    taken: float
    most: float | None
    unit: str
    closed: str | None

    @property
    def quarantine(self) -> bool:
        """Whether it is kept apart for mould, insects and foul water."""
        return isinstance(self.station, Room | ColdStore) and self.station.quarantine

    @property
    def words(self) -> str:
        """How much is left, for a person."""
        count = len(self.pieces)
        here = f"{count} {'piece' if count == 1 else 'pieces'} here"
        if self.most is None:
            return here
        left = self.most - self.taken
        room = f"{left:.1f} of {self.most:.1f} {self.unit} free" if left > 0 else "full"
        return f"{room}; {here}"

    def holds(self, item: Item, known: Facts) -> bool:
        """Whether the piece can be added."""
        if self.most is None or any(one.tag == item.tag for one in self.pieces):
            return True
        return self.taken + _taken_by(item, self.station, known) <= self.most + 1e-9


@dataclass(frozen=True)
class Objection:
    """What speaks against putting a piece somewhere; ``lifts``: a reason is enough to do it."""

    sentence: str
    lifts: bool = False


@dataclass(frozen=True)
class Proposal:
    """A place for a piece and why."""

    place: Place
    why: str


def _taken_by(item: Item, station: Chamber | Room | ColdStore | Bench, known: Facts) -> float:
    match station:
        case Room():
            return rack_mm(item, known) / 1000
        case ColdStore():
            return litres(item, known)
        case Chamber():
            return rail_mm(item, known) / 1000
        case Bench():
            return 0.0


def _most(station: Chamber | Room | ColdStore | Bench) -> tuple[float | None, str]:
    match station:
        case Room():
            return station.rack_mm / 1000, "m of rack"
        case ColdStore():
            return float(station.usable_l), "L"
        case Chamber():
            return station.rail_mm / 1000, "m of rail"
        case Bench():
            return None, ""


def places(session: Session, book: FacilityBook, now: datetime, known: Facts) -> list[Place]:
    """Every place of the facility with what stands there now."""
    found = []
    for station in book.facility.stations if book.facility else ():
        pieces = tuple(reading.items(session, EVERYTHING, ItemFilter(station=station.id)))
        most, unit = _most(station)
        closed = next(
            (
                one.reason
                for one in book.closures
                if one.station == station.id and one.starts_at <= now < one.ends_at
            ),
            None,
        )
        taken = sum(_taken_by(one, station, known) for one in pieces)
        found.append(Place(station.id, station.label, station, pieces, taken, most, unit, closed))
    return found


def why_quarantine(item: Item | None, loss: Loss | None) -> tuple[str, ...]:
    """Why a piece goes to a quarantine place first; empty when nothing on record asks for it.

    Common practice in collections care, no single source. A piece that nobody described is kept
    apart until somebody has looked at it.
    """
    if item is None:
        return ("nobody has said what it is yet",)
    found = []
    seen = {one.damage: one for one in item.damages}
    if Damage.MOULD_VISIBLE in seen:
        found.append("visible mould")
    if Damage.INSECTS in seen:
        found.append("live insects")
    wet = [one for kind, one in seen.items() if kind in WETTED]
    general = loss.water_category if loss else None
    if any((one.water_category or general) is WaterCategory.THREE for one in wet):
        found.append("wetted by Category 3 water")
    for hazard in sorted(UNKNOWN_HAZARDS & set(loss.hazards if loss else ())):
        found.append(f"{hazard.label.lower()} on its site")
    return tuple(found)


def objections(
    session: Session, item: Item | None, loss: Loss | None, place: Place, known: Facts
) -> list[Objection]:
    """What speaks against putting the piece there now, the gravest first."""
    found = []
    if item is not None:
        held = _held_in(session, item)
        if held is not None:
            found.append(Objection(held))
    if place.closed is not None:
        found.append(
            Objection(f"{place.label} is out of use: {place.closed}. Choose another place.")
        )
    if isinstance(place.station, Chamber):
        why = _why_not_chamber(session, item, place, known)
        if why is not None:
            found.append(Objection(why))
    kept_apart = why_quarantine(item, loss)
    if kept_apart and not place.quarantine:
        found.append(
            Objection(
                f"Quarantine first: {', '.join(kept_apart)}. {place.label} is no quarantine place. "
                "Choose one, or write who decided otherwise and why.",
                lifts=True,
            )
        )
    if item is not None and not place.holds(item, known):
        found.append(
            Objection(
                f"{place.label} has no room for it: {place.words}. Choose another place, or write "
                "who decided to put it there and why.",
                lifts=True,
            )
        )
    return found


def _held_in(session: Session, item: Item) -> str | None:
    """The run that has the piece in its chamber, as a reason not to move it.

    The run's own list decides, not where the piece was last said to be: a phone far from the
    chamber may have said something else.
    """
    for run in runs_holding(session, item.tag):
        if run.phase in AT_REST:
            continue
        if run.phase is Phase.ABORTED and (not run.doses or run.opened_at is not None):
            continue
        if run.phase is Phase.LOADING:
            return f"It counts as loaded in run {run.run}. Take it off that run's sheet first."
        return (
            f"It is shut in a chamber: run {run.run} is “{run.phase.label}”. "
            "Move it when the run is cleared and unloaded."
        )
    return None


def _why_not_chamber(session: Session, item: Item | None, place: Place, known: Facts) -> str | None:
    if item is not None and StepKind.DRY in remaining_steps(item, known):
        return f"It is wet. Dry it first: nothing wet goes into {place.label}."
    return f"{place.label} is a chamber. Load the piece there on the page of its run."


def proposals(
    item: Item | None,
    loss: Loss | None,
    triage: Triage | None,
    around: Sequence[Place],
    known: Facts,
) -> list[Proposal]:
    """Places for the piece, the best first, each open, with room, and no chamber.

    Quarantine where it is asked for; else a cold store for what may be frozen wet and can't wait;
    else the room or bench that does its next step, the one nearest to its humidity first.
    """
    free = [
        one
        for one in around
        if one.closed is None
        and not isinstance(one.station, Chamber)
        and (item is None or one.holds(item, known))
    ]
    kept_apart = why_quarantine(item, loss)
    if kept_apart:
        why = f"quarantine: {', '.join(kept_apart)}"
        return [Proposal(one, why) for one in free if one.quarantine]
    if item is None:
        return []
    open_to_all = [one for one in free if not one.quarantine]
    left = remaining_steps(item, known)
    found = []
    if (
        triage is not None
        and StepKind.DRY in left
        and triage.band is Band.NOW
        and triage.freeze_wet.permission is Permission.YES
    ):
        cold = [one for one in open_to_all if isinstance(one.station, ColdStore)]
        found += [Proposal(one, "wet, no time left, and may be frozen") for one in cold]
    if left:
        serving = [
            one
            for one in open_to_all
            if isinstance(one.station, Room | Bench) and left[0] in one.station.serves
        ]
        found += [
            Proposal(one, f"next step: {left[0].label.lower()}")
            for one in sorted(serving, key=lambda one: _off(item, one, known))
        ]
    return found


def _off(item: Item, place: Place, known: Facts) -> float:
    """How far the air of a place is from what the piece's materials want, as a fraction of RH."""
    if not isinstance(place.station, Room) or not item.materials:
        return 0.0
    point = known.room_for(item.materials)
    return abs(place.station.rh - (point.rh_low_percent + point.rh_high_percent) / 200)
