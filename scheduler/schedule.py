"""A schedule in the solver's terms, what it costs, and the plan document made of it."""

from collections import defaultdict
from dataclasses import dataclass

from scheduler.instance import Instance
from scheduler.plan import Amounts, Placement, Plan, Run, gap_between


@dataclass(frozen=True, slots=True)
class Schedule:
    """Start, end and station (-1: none) by task; by lot, the lot that names its run."""

    start: tuple[int, ...]
    end: tuple[int, ...]
    station: tuple[int, ...]
    run: tuple[int, ...]

    def runs(self) -> dict[int, list[int]]:
        """Lots by the lot that names their run."""
        found: dict[int, list[int]] = defaultdict(list)
        for lot, name in enumerate(self.run):
            found[name].append(lot)
        return found

    def runs_by_chamber(self, instance: Instance) -> dict[int, list[int]]:
        """Runs of each chamber in time, each by the lot that names it."""
        found: dict[int, list[int]] = defaultdict(list)
        for name in dict.fromkeys(self.run):
            found[self.station[instance.lots[name].tasks[0]]].append(name)
        for names in found.values():
            names.sort(key=lambda name: self.start[instance.lots[name].tasks[0]])
        return found


def earliest_guess(instance: Instance) -> Schedule:
    """Every task at its earliest, each lot in a run of its own; mostly not feasible."""
    stations = [
        instance.lots[t.lot].stations if t.lot is not None else t.stations for t in instance.tasks
    ]
    return Schedule(
        start=tuple(t.earliest for t in instance.tasks),
        end=tuple(t.earliest + t.shortest for t in instance.tasks),
        station=tuple(s[0] if s else -1 for s in stations),
        run=tuple(range(len(instance.lots))),
    )


def amounts_of(instance: Instance, schedule: Schedule) -> Amounts:
    """What the schedule is charged for."""
    lateness = late_items = changes = 0
    for task in instance.tasks:
        start, end = schedule.start[task.index], schedule.end[task.index]
        late, item_late = instance.lateness(task, start, end)
        lateness += late
        late_items += item_late
        if task.before is not None:
            station, at = task.before
            changes += (
                schedule.station[task.index] != station
                or abs(start - at) > instance.problem.change_tolerance_min
            )
    running = clean = energy = 0
    for chamber, names in schedule.runs_by_chamber(instance).items():
        after = instance.first_programme[chamber]
        for name in names:
            lot = instance.lots[name]
            lasts = schedule.end[lot.tasks[0]] - schedule.start[lot.tasks[0]]
            running += lasts
            energy += instance.energy_kwh(chamber, lasts)
            clean += instance.clean_cost[after][lot.programme]
            after = lot.programme
    return Amounts(
        lateness=lateness,
        late_items=late_items,
        running_min=running,
        clean_down_cost=clean,
        changes=changes,
        finish=max((0, *schedule.end)),
        energy_kwh=energy,
    )


def item_costs(instance: Instance, schedule: Schedule) -> list[int]:
    """What each item is charged for being late, plus 1, so that each counts for something."""
    weights = instance.problem.weights
    costs = [1] * len(instance.routes)
    for task in instance.tasks:
        late, item_late = instance.lateness(
            task, schedule.start[task.index], schedule.end[task.index]
        )
        costs[task.item] += weights.lateness * late + weights.late_items * item_late
    return costs


def objective_of(instance: Instance, amounts: Amounts) -> int:
    """The weighted sum that is minimised."""
    weights = instance.problem.weights
    return (
        weights.lateness * amounts.lateness
        + weights.late_items * amounts.late_items
        + weights.running_min * amounts.running_min
        + weights.clean_down_cost * amounts.clean_down_cost
        + weights.changes * amounts.changes
        + weights.finish * amounts.finish
        + weights.energy * amounts.energy_kwh
    )


def cost_of(instance: Instance, schedule: Schedule) -> int:
    """The schedule's objective."""
    return objective_of(instance, amounts_of(instance, schedule))


def to_plan(
    instance: Instance,
    schedule: Schedule,
    *,
    bound: int,
    seed: int,
    seconds: float,
    method: tuple[str, ...],
) -> Plan:
    """The plan document of a schedule, not yet stamped by the verifier."""
    problem = instance.problem
    names = _run_names(instance, schedule)
    placements = tuple(
        Placement(
            item=instance.item(task).id,
            step=task.step.id,
            station=instance.stations[schedule.station[task.index]].id
            if schedule.station[task.index] >= 0
            else None,
            start=schedule.start[task.index],
            end=schedule.end[task.index],
            run=names[schedule.run[task.lot]] if task.lot is not None else None,
        )
        for task in instance.tasks
    )
    amounts = amounts_of(instance, schedule)
    objective = objective_of(instance, amounts)
    return Plan(
        problem_sha256=problem.sha256(),
        placements=placements,
        runs=_runs(instance, schedule, names),
        amounts=amounts,
        objective=objective,
        bound=bound,
        gap=gap_between(objective, bound),
        status="optimal" if bound == objective else "feasible",
        seed=seed,
        seconds=round(seconds, 3),
        method=method,
    )


def _run_names(instance: Instance, schedule: Schedule) -> dict[int, str]:
    """Names in order of start; a fixed run keeps its own."""
    taken = {f.run for f in instance.problem.fixed}
    names: dict[int, str] = {}
    number = 0
    order = sorted(
        dict.fromkeys(schedule.run),
        key=lambda n: (schedule.start[instance.lots[n].tasks[0]], n),
    )
    for name in order:
        fact = instance.lots[name].fact
        if fact is not None:
            names[name] = str(fact.run)
            continue
        number += 1
        while f"run-{number:03d}" in taken:
            number += 1
        names[name] = f"run-{number:03d}"
    return names


def _runs(instance: Instance, schedule: Schedule, names: dict[int, str]) -> tuple[Run, ...]:
    members = schedule.runs()
    found = []
    for chamber, in_time in schedule.runs_by_chamber(instance).items():
        after = instance.first_programme[chamber]
        for name in in_time:
            lot = instance.lots[name]
            start, end = schedule.start[lot.tasks[0]], schedule.end[lot.tasks[0]]
            found.append(
                Run(
                    id=names[name],
                    station=instance.stations[chamber].id,
                    programme=instance.problem.programmes[lot.programme].id,
                    clean_down_start=start - instance.clean_min[after][lot.programme],
                    start=start,
                    end=end,
                    items=tuple(
                        instance.item(instance.tasks[t]).id
                        for member in members[name]
                        for t in instance.lots[member].tasks
                    ),
                )
            )
            after = lot.programme
    return tuple(sorted(found, key=lambda r: (r.start, r.id)))
