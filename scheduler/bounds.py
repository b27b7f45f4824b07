"""Lower bounds on the objective that need no search, from routes, loads and runs."""

from collections import defaultdict

from scheduler.instance import Instance, Lot, capacities
from scheduler.plan import Amounts
from scheduler.schedule import objective_of


def lower_bound(instance: Instance, late_charge: int = 0) -> int:
    """No plan has a lower objective than this: lateness, runs, clean-downs and finish are bounded
    apart, and as each charge belongs to one of them, the sum of the bounds holds for the sum.

    `late_charge`: a bound on the charges for lateness, late items and changes that takes stock of
    congestion (`scheduler.congestion`); without it every item is taken to have the facility to
    itself.
    """
    others = Amounts(
        lateness=0,
        late_items=0,
        running_min=running_bound(instance),
        clean_down_cost=_clean_down_bound(instance),
        changes=0,
        finish=finish_bound(instance),
        energy_kwh=energy_bound(instance),
    )
    return max(alone_charge(instance), late_charge) + objective_of(instance, others)


def alone_charge(instance: Instance) -> int:
    """What lateness and late items are charged if every item has the facility to itself."""
    weights = instance.problem.weights
    charge = 0
    for task in instance.tasks:
        late, item_late = instance.lateness(task, task.earliest, task.earliest_end)
        charge += weights.lateness * late + weights.late_items * item_late
    return charge


def running_bound(instance: Instance) -> int:
    """Least minutes that all runs last."""
    fixed = sum(end - start for _, start, end in _fixed_runs(instance))
    return fixed + sum(minutes for minutes, _ in _least_running(instance))


def energy_bound(instance: Instance) -> int:
    """Least energy that all runs use, kWh: that of fixed runs, and for each programme its least
    minutes in the chamber, of those that may run it, that takes the least power. Rounding up a sum
    gives no more than rounding up its parts.
    """
    total = sum(instance.energy_kwh(s, end - start) for s, start, end in _fixed_runs(instance))
    for minutes, stations in _least_running(instance):
        total += min(instance.energy_kwh(s, minutes) for s in stations)
    return total


def _fixed_runs(instance: Instance) -> set[tuple[int, int, int]]:
    """(chamber, start, end) of each."""
    return {
        (lot.stations[0], lot.fact.start, lot.fact.end)
        for lot in instance.lots
        if lot.fact is not None
    }


def _least_running(instance: Instance) -> list[tuple[int, set[int]]]:
    """(least minutes that all its runs but fixed ones last, chambers for it) of each programme.

    Lots in order of decreasing minimum duration are poured into runs of the largest chamber's
    litres (or rail), splitting lots between runs: the best that any grouping could do if pieces
    could be cut. The first and longest lot of each run decides its duration.
    """
    found = []
    by_programme: dict[int, list[Lot]] = defaultdict(list)
    for lot in instance.lots:
        if lot.fact is None:
            by_programme[lot.programme].append(lot)
    for lots in by_programme.values():
        stations = {s for lot in lots for s in lot.stations}
        chambers = [instance.chamber(s) for s in stations]
        litres = max((c.usable_l for c in chambers), default=1)
        rail = max((c.rail_mm for c in chambers), default=1)
        minutes = max(
            _poured(lots, [lot.litres for lot in lots], litres),
            _poured(lots, [lot.rail for lot in lots], rail),
        )
        found.append((minutes, stations))
    return found


def _poured(lots: list[Lot], sizes: list[int], capacity: int) -> int:
    """Sum over runs of the longest duration in each when lots may be split."""
    order = sorted(zip(lots, sizes, strict=True), key=lambda pair: -pair[0].shortest)
    total, room = order[0][0].shortest, capacity
    for lot, size in order:
        left = size
        while left > 0:
            if room == 0:
                total += lot.shortest
                room = capacity
            poured = min(left, room)
            left -= poured
            room -= poured
    return total


def _clean_down_bound(instance: Instance) -> int:
    """Every programme that some chamber must run needs a run with it coming after something."""
    cost = 0
    for programme in {lot.programme for lot in instance.lots if lot.fact is None}:
        stations = {
            s
            for lot in instance.lots
            if lot.programme == programme and lot.fact is None
            for s in lot.stations
        }
        others = {lot.programme for lot in instance.lots} | {
            instance.first_programme[s] for s in stations
        }
        if any(instance.first_programme[s] == programme for s in stations):
            continue
        cost += min((instance.clean_cost[a][programme] for a in others - {programme}), default=0)
    return cost


def finish_bound(instance: Instance) -> int:
    """The latest of all routes alone, and of all stations' work in sum."""
    ends = [instance.tasks[route[-1]].earliest_end for route in instance.routes]
    return max((0, *ends, *_resource_finishes(instance)))


def _resource_finishes(instance: Instance) -> list[int]:
    """For each resource: earliest start of what only it can do + work ÷ capacity + least tail."""
    work: dict[tuple[int, str], list[tuple[int, int, int]]] = defaultdict(list)
    for task in instance.tasks:
        if task.fact is not None or len(task.stations) != 1 or task.lot is not None:
            continue
        for resource, _, minutes, load in task.loads:
            length = task.shortest if minutes is None else minutes
            work[task.stations[0], resource].append((task.earliest, length * load, task.tail))
    found = []
    for (station, resource), parts in work.items():
        capacity = capacities(instance.stations[station])[resource]
        for head in sorted({p[0] for p in parts})[:50]:
            later = [p for p in parts if p[0] >= head]
            total, tail = sum(p[1] for p in later), min(p[2] for p in later)
            found.append(head - (-total // max(1, capacity)) + tail)
    return found
