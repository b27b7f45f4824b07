"""A lower bound on lateness where stations are short: starts priced by the work they bring.

The steps that need one resource bring work (load times minutes), and up to any moment the resource
can have done only so much. Let every step start when it likes, on a grid of time, but charge it a
price for each unit of work, the higher the earlier it is done; what the resource could have done
is paid back at the same prices. Whatever the prices, no plan costs less than the sum (Lagrangian
relaxation; M. L. Fisher, Management Science 27(1), 1981). Good prices are found by subgradient
steps.

A start rounded down to the grid does its work up to one spell earlier than in the plan, hence the
work done before any moment of the grid is held against what can be done one spell later.
"""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt

from scheduler.instance import Instance, Load, Task
from scheduler.problem import Bench, Chamber, Room, Store
from scheduler.schedule import Schedule

SPELLS, STEPS, PATIENCE = 160, 250, 8
Numbers = npt.NDArray[Any]
Supply = list[tuple[int, int, int]]


@dataclass(frozen=True, slots=True)
class _Charge:
    """weight * max(0, start - threshold); `alone` and `now`: what it is for the item alone, and
    in the schedule.
    """

    weight: int
    threshold: int
    alone: int
    now: int


@dataclass(slots=True)
class _Job:
    """Use of one resource by a step that can start from `release` on."""

    release: int
    loads: tuple[Load, ...]
    shortest: int
    charges: list[_Charge] = field(default_factory=list)

    def work_until(self, minutes: int) -> int:
        """Work done so many minutes after the start."""
        done = 0
        for load in self.loads:
            length = self.shortest if load.minutes is None else load.minutes
            done += load.amount * min(length, max(0, minutes - load.offset))
        return done


def congested_lateness(instance: Instance, schedule: Schedule) -> int:
    """Least weighted minutes late: as if every item were alone, and more where the resource that
    shows most is short. The schedule only guides the choice of prices.
    """
    alone = sum(alone for t in instance.tasks for _, _, alone in _charges(instance, t))
    best = 0
    for stations, resource in _resources(instance):
        jobs = _jobs(instance, schedule, stations, resource)
        supply = _supply(instance, stations, resource)
        if jobs and supply:
            best = max(best, _gain(jobs, supply))
    return alone + best


def _gain(jobs: list[_Job], supply: Supply) -> int:
    """How much more than alone the jobs' charges come to."""
    alone = sum(c.alone for job in jobs for c in job.charges)
    now = sum(c.now for job in jobs for c in job.charges)
    end = _all_done(jobs, supply)
    spell = max(1, -(-end // SPELLS))
    charge = np.array([_charge_by_spell(job, spell, -(-end // spell)) for job in jobs])
    length = -(-max(job.shortest for job in jobs) // spell)
    done = np.array([[job.work_until(spell * k) for k in range(length + 1)] for job in jobs])
    moments = np.arange(1, charge.shape[1] + length) * spell
    supplied = _supplied(supply, moments + spell)
    scale = max(1.0, supplied[-1] / len(moments))
    bound = _best_price(charge, np.diff(done, axis=1) / scale, supplied / scale, now)
    return max(0, int(bound - alone))


def _best_price(charge: Numbers, work: Numbers, supplied: Numbers, target: int) -> float:
    """The best Lagrangian bound found, a little less for rounding.

    Args:
        charge: by job and spell of the start; infinite where it cannot start.
        work: by job and spell after its start.
        supplied: work that can be done, by spell at whose end it is held against that begun.
        target: what the bound may come near to.
    """
    length = work.shape[1]
    multiplier = np.zeros(len(supplied))
    best, patience, reach = -np.inf, PATIENCE, 1.0
    jobs = np.arange(len(charge))
    for _ in range(STEPS):
        price = np.cumsum(multiplier[::-1])[::-1]
        ahead = np.lib.stride_tricks.sliding_window_view(price, length)
        total = charge + work @ ahead.T
        start = total.argmin(axis=1)
        bound = float(total[jobs, start].sum() - multiplier @ supplied)
        patience = PATIENCE if bound > best else patience - 1
        best = max(best, bound)
        if patience == 0:
            reach, patience = reach / 2, PATIENCE
        used = np.zeros(len(supplied))
        for k in range(length):
            np.add.at(used, start + k, work[:, k])
        excess = np.cumsum(used) - supplied
        excess[(excess < 0) & (multiplier == 0)] = 0
        norm = float(excess @ excess)
        if norm == 0 or reach < 1e-3:
            break
        step = reach * max(1.0, 1.05 * target - bound) / norm
        multiplier = np.maximum(0, multiplier + step * excess)
    return best - abs(best) * 1e-9 - 1


def _charge_by_spell(job: _Job, spell: int, spells: int) -> Numbers:
    """The job's charges by the spell in which it starts."""
    first = job.release // spell
    starts = np.maximum(np.arange(max(spells, first) + 1) * spell, job.release)
    charge = np.zeros(len(starts))
    for c in job.charges:
        charge += c.weight * np.maximum(0, starts - c.threshold)
    charge[:first] = np.inf
    return charge


def _all_done(jobs: list[_Job], supply: Supply) -> int:
    """When all work can be done although none is begun before everything is here."""
    left = sum(job.work_until(job.shortest) for job in jobs)
    latest = max(job.release for job in jobs)
    for start, until, rate in supply:
        begins = max(start, latest)
        if begins < until:
            if (until - begins) * rate >= left:
                return begins - (-left // rate)
            left -= (until - begins) * rate
    return max(latest, supply[-1][1])


def _supplied(supply: Supply, moments: Numbers) -> Numbers:
    """Work that can have been done by each moment."""
    done = np.zeros(len(moments))
    for start, until, rate in supply:
        done += rate * np.clip(moments - start, 0, until - start)
    return done


def _resources(instance: Instance) -> list[tuple[frozenset[int], str]]:
    """Sets of stations among which steps may choose, with each resource that they have."""
    found: set[tuple[frozenset[int], str]] = set()
    for task in instance.tasks:
        if task.fact is not None:
            continue
        if task.lot is not None:
            found.add((frozenset(instance.lots[task.lot].stations), "litres"))
        found.update((frozenset(task.stations), load.resource) for load in task.loads)
    alike: dict[tuple[str, str], set[int]] = defaultdict(set)
    for stations, resource in found:
        alike[instance.stations[min(stations)].kind, resource] |= stations
    unions = {(frozenset(stations), resource) for (_, resource), stations in alike.items()}
    return sorted(found | unions, key=lambda pair: (pair[1], sorted(pair[0])))


def _supply(instance: Instance, stations: Iterable[int], resource: str) -> Supply:
    """(start, end, rate) of what the stations have in sum, in time, without empty spells."""
    horizon = instance.horizon
    spells: Supply = []
    for s in stations:
        station = instance.stations[s]
        if isinstance(station, Bench):
            spells += [(shift.start, shift.end, shift.people) for shift in station.shifts]
            continue
        if isinstance(station, Chamber):
            rate = station.usable_l
        elif isinstance(station, Store):
            rate = station.litres
        else:
            assert isinstance(station, Room)
            rate = station.rack_mm if resource == "rack" else station.removal_g_h
        windows = instance.windows[s]
        spells += [(a, b, rate) for a, b in ([(0, horizon)] if windows is None else windows)]
    changes: dict[int, int] = defaultdict(int)
    for start, end, rate in spells:
        if max(start, 0) < min(end, horizon):
            changes[max(start, 0)] += rate
            changes[min(end, horizon)] -= rate
    found, level, since = [], 0, 0
    for minute in sorted(changes):
        if level > 0:
            found.append((since, minute, level))
        level, since = level + changes[minute], minute
    return found


def _jobs(
    instance: Instance, schedule: Schedule, stations: frozenset[int], resource: str
) -> list[_Job]:
    """What needs the resource, each charge with the last step before it that does."""
    jobs: dict[tuple[str, int], _Job] = {}
    for route in instance.routes:
        serving: tuple[Task, _Job] | None = None
        for t in route:
            task = instance.tasks[t]
            if task.fact is not None:
                serving = None
                continue
            own = _job(instance, task, stations, resource)
            if own is not None:
                key = ("task", t) if task.lot is None else ("lot", task.lot)
                serving = task, jobs.setdefault(key, own)
            if serving is not None:
                first, job = serving
                ahead = _least_minutes(instance, first, task)
                start = schedule.start[first.index]
                job.charges += [
                    _Charge(weight, due - ahead, alone, weight * max(0, start + ahead - due))
                    for weight, due, alone in _charges(instance, task)
                ]
    return list(jobs.values())


def _job(instance: Instance, task: Task, stations: frozenset[int], resource: str) -> _Job | None:
    if task.lot is not None:
        lot = instance.lots[task.lot]
        if resource != "litres" or not lot.litres or not stations.issuperset(lot.stations):
            return None
        release = max(instance.tasks[t].earliest for t in lot.tasks)
        return _Job(release, (Load("litres", 0, None, lot.litres),), lot.shortest)
    if not task.stations or not stations.issuperset(task.stations):
        return None
    loads = tuple(load for load in task.loads if load.resource == resource)
    return _Job(task.earliest, loads, task.shortest) if loads else None


def _least_minutes(instance: Instance, first: Task, then: Task) -> int:
    """Least minutes from the start of one task to the start of a later one of its route."""
    minutes = 0
    for t in range(first.index, then.index):
        minutes += instance.tasks[t].shortest + instance.tasks[t + 1].lag_min
    return minutes


def _charges(instance: Instance, task: Task) -> list[tuple[int, int, int]]:
    """(weight, latest start without charge, charge if alone) of the task's soft deadlines."""
    item, step = instance.item(task), task.step
    limits = []
    if step.start_by_min is not None and step.start_by_weight:
        limits.append((step.start_by_weight, step.start_by_min))
    if step.due_min is not None and item.weight:
        limits.append((item.weight, step.due_min - task.shortest))
    if instance.is_last(task) and item.due_min is not None and item.weight:
        limits.append((item.weight, item.due_min - task.shortest))
    return [(w, latest, w * max(0, task.earliest - latest)) for w, latest in limits]
