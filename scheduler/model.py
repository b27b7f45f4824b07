"""The CP-SAT model, one function for each family of constraints.

A run is represented by one of its lots: the one with the longest minimum duration (ties by index).
Every lot either represents a run or joins the run of a lot before it in that order, so a run needs
no variables of its own and equal runs cannot be numbered in different ways. The sequence of a
chamber is a circuit through the runs that are in it, which carries clean-down times and costs.

The same model serves whole problems and neighbourhoods: tasks that are not free stay where the
guess has them, as constants, and free lots may join runs that stay.
"""

from collections import defaultdict
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from itertools import pairwise

from ortools.sat.python import cp_model

from scheduler.instance import (
    WATT_MINUTES_IN_A_KWH,
    Instance,
    Lot,
    Spans,
    Task,
    capacities,
    start_spans,
    unstaffed,
)
from scheduler.problem import Bench
from scheduler.schedule import Schedule

Expr = cp_model.LinearExpr | int
Lit = cp_model.BoolVarT


@dataclass(frozen=True)
class KeptRun:
    """A run that stays in place; free lots may join unless it is closed."""

    name: int
    station: int
    programme: int
    start: int
    end: int
    lots: tuple[Lot, ...]
    closed: bool


@dataclass
class Model:
    """The model under construction, and what is needed to read a solution off it."""

    instance: Instance
    free: frozenset[int]
    guess: Schedule
    cp: cp_model.CpModel = field(default_factory=cp_model.CpModel)
    start: dict[int, Expr] = field(default_factory=dict)
    end: dict[int, Expr] = field(default_factory=dict)
    length: dict[int, Expr] = field(default_factory=dict)
    low: dict[int, int] = field(default_factory=dict)
    high: dict[int, int] = field(default_factory=dict)
    at: dict[tuple[int, int], Lit] = field(default_factory=dict)
    free_lots: list[Lot] = field(default_factory=list)
    kept_runs: list[KeptRun] = field(default_factory=list)
    represents: dict[int, Lit] = field(default_factory=dict)
    joins: dict[tuple[int, int], Lit] = field(default_factory=dict)
    joins_kept: dict[tuple[int, int], Lit] = field(default_factory=dict)
    in_chamber: dict[tuple[int, int], Lit] = field(default_factory=dict)
    objective: list[Expr] = field(default_factory=list)

    led_by: dict[int, int | None] = field(default_factory=dict)

    def literal(self, name: str, hinted: bool) -> cp_model.IntVar:
        """A new Boolean, with what the guess has."""
        literal = self.cp.new_bool_var(name)
        self.cp.add_hint(literal, hinted)
        return literal

    def exact_solver(self) -> cp_model.CpSolver:
        """A solver, of one thread, whose word on what is best or impossible holds.

        OR-Tools 9.15 takes a start and an end for free to move sooner together, across a gap that
        only one of them has in its domain, and then calls a schedule optimal that is not. Told to
        keep every solution it does not, but it is slower: where nothing is claimed, do without.
        """
        solver = cp_model.CpSolver()
        solver.parameters.num_workers = 1
        instance = self.instance
        solver.parameters.keep_all_feasible_solutions_in_presolve = any(
            lot.programme in instance.licensed and lot.longest > lot.shortest
            for lot in self.free_lots
        )
        return solver

    def number(self, low: int, high: int, name: str, hinted: int) -> cp_model.IntVar:
        """A new integer in [low, high], with what the guess has."""
        number = self.cp.new_int_var(low, max(low, high), name)
        self.cp.add_hint(number, hinted)
        return number


def build_model(instance: Instance, guess: Schedule, free: Iterable[int] | None = None) -> Model:
    """The model of the whole problem (`free` None), or of a neighbourhood of the guess.

    Where only some tasks are free the guess must be feasible, as the others stay where it has
    them; a whole problem takes it as advice. A lot is freed as a whole if any of its tasks is;
    tasks under way or frozen never are. The objective is that of the whole plan.
    """
    model = Model(instance, _closure(instance, free), guess)
    _collect_runs(model)
    add_times(model)
    add_routes(model)
    add_stations(model)
    add_shared_capacity(model)
    add_runs(model)
    add_run_capacity(model)
    add_apart(model)
    add_licence(model)
    add_chamber_sequences(model)
    add_lateness(model)
    add_running(model)
    add_energy(model)
    add_changes(model)
    add_finish(model)
    model.cp.minimize(cp_model.LinearExpr.sum(model.objective))
    return model


def _closure(instance: Instance, free: Iterable[int] | None) -> frozenset[int]:
    chosen = range(len(instance.tasks)) if free is None else free
    found: set[int] = set()
    for t in chosen:
        lot = instance.tasks[t].lot
        found.update((t,) if lot is None else instance.lots[lot].tasks)
    return frozenset(t for t in found if instance.tasks[t].fact is None)


def _collect_runs(model: Model) -> None:
    instance = model.instance
    model.free_lots = sorted(
        (lot for lot in instance.lots if lot.tasks[0] in model.free),
        key=lambda lot: (-lot.shortest, lot.index),
    )
    kept: dict[int | str, list[Lot]] = defaultdict(list)
    for lot in instance.lots:
        if lot.tasks[0] in model.free:
            continue
        if lot.fact is not None:
            kept[str(lot.fact.run)].append(lot)
        else:
            kept[model.guess.run[lot.index]].append(lot)
    for lots in kept.values():
        start, end, station = _place(model, lots[0].tasks[0])
        closed = any(lot.fact is not None for lot in lots)
        model.kept_runs.append(
            KeptRun(lots[0].index, station, lots[0].programme, start, end, tuple(lots), closed)
        )
    model.kept_runs.sort(key=lambda r: (r.station, r.start))
    leaders: dict[int, int | None] = {
        model.guess.run[lot.index]: None for run in model.kept_runs for lot in run.lots
    }
    for lot in model.free_lots:
        model.led_by[lot.index] = leaders.setdefault(model.guess.run[lot.index], lot.index)


def _place(model: Model, task: int) -> tuple[int, int, int]:
    """(start, end, station) of a task that is not free."""
    own = model.instance.tasks[task]
    if own.fact is not None:
        return own.fact.start, own.fact.end, own.stations[0] if own.stations else -1
    guess = model.guess
    return guess.start[task], guess.end[task], guess.station[task]


def add_times(model: Model) -> None:
    """Starts and ends within what routes and the horizon leave; the tasks of a lot share them."""
    instance, cp = model.instance, model.cp
    _bounds(model)
    for task in instance.tasks:
        t = task.index
        if t not in model.free:
            model.start[t], model.end[t], _ = _place(model, t)
            continue
        low, high, shortest, longest = model.low[t], model.high[t], task.shortest, task.longest
        if task.lot is not None:
            lot = instance.lots[task.lot]
            if lot.tasks[0] != t:
                continue
            low = max(model.low[m] for m in lot.tasks)
            high = min(model.high[m] for m in lot.tasks)
            shortest, longest = lot.shortest, lot.longest
        start = model.number(low, high, f"start {t}", model.guess.start[t])
        if high < low:
            cp.add_bool_or([])
        end: Expr = start + shortest
        length: Expr = shortest
        if longest > shortest:
            end = model.number(low + shortest, instance.horizon, f"end {t}", model.guess.end[t])
            lasts = model.guess.end[t] - model.guess.start[t]
            length = model.number(shortest, longest, f"length {t}", lasts)
            cp.add(end == start + length)
        for member in instance.lots[task.lot].tasks if task.lot is not None else (t,):
            model.start[member], model.end[member], model.length[member] = start, end, length
            model.low[member], model.high[member] = low, high


def _bounds(model: Model) -> None:
    """Earliest and latest starts of free tasks between neighbours that stay."""
    instance = model.instance
    for route in instance.routes:
        ready = 0
        for t in route:
            task = instance.tasks[t]
            if t in model.free:
                model.low[t] = max(0, task.earliest, ready + task.lag_min)
                ready = model.low[t] + task.shortest
            else:
                ready = _place(model, t)[1]
        latest = instance.horizon
        for t in reversed(route):
            task = instance.tasks[t]
            if t in model.free:
                model.high[t] = latest - task.shortest
                latest = model.high[t] - task.lag_min
            else:
                latest = _place(model, t)[0] - task.lag_min


def add_routes(model: Model) -> None:
    """Each step follows the one before within its least and most lag."""
    instance = model.instance
    for task in instance.tasks:
        before = instance.previous(task)
        if before is None or not {task.index, before.index} & model.free:
            continue
        lag = model.start[task.index] - model.end[before.index]
        model.cp.add(lag >= task.lag_min)
        if task.lag_max < instance.horizon:
            model.cp.add(lag <= task.lag_max)


def add_stations(model: Model) -> None:
    """One station for each free step that is no batch step, open while the step lasts."""
    instance, cp = model.instance, model.cp
    for task in instance.tasks:
        if task.index not in model.free or task.lot is not None or not task.stations:
            continue
        literals: list[Lit] = []
        for station in task.stations:
            literal: Lit = cp.new_constant(1)
            if len(task.stations) > 1:
                literal = model.literal(
                    f"task {task.index} at {station}",
                    model.guess.station[task.index] == station,
                )
            literals.append(literal)
            model.at[task.index, station] = literal
            _add_opening(model, task, station, literal)
        if len(literals) > 1:
            cp.add_exactly_one(literals)


def _add_opening(model: Model, task: Task, station: int, literal: Lit) -> None:
    spans = model.instance.spans(task, station)
    if spans is None:
        return
    start, end = model.start[task.index], model.end[task.index]
    starts = _start_domain(spans, task.shortest)
    model.cp.add_linear_expression_in_domain(start, starts).only_enforce_if(literal)
    if task.longest > task.shortest:
        _add_one_window(model, spans, (start, end, task.shortest), literal, task.index)


def _start_domain(spans: Spans, duration: int) -> cp_model.Domain:
    return cp_model.Domain.from_intervals([list(span) for span in start_spans(spans, duration)])


def _add_one_window(
    model: Model, spans: Spans, during: tuple[Expr, Expr, int], present: Lit, task: int
) -> None:
    """Keep (start, end, shortest) inside one of the spans if present."""
    cp = model.cp
    first, last, shortest = during
    low, high = model.low[task], model.high[task] + shortest
    choices = []
    for n, (opens, closes) in enumerate(spans):
        if closes - opens < shortest or closes < low or opens > high:
            continue
        inside = opens <= model.guess.start[task] and model.guess.end[task] <= closes
        choice = model.literal(f"task {task} in span {n}", inside)
        cp.add(first >= opens).only_enforce_if(choice)
        cp.add(last <= closes).only_enforce_if(choice)
        cp.add_implication(choice, present)
        choices.append(choice)
    cp.add_bool_or(choices).only_enforce_if(present)


def add_shared_capacity(model: Model) -> None:
    """Racks, moisture, litres and people: never more in use than there is."""
    instance = model.instance
    taken: dict[int, list[Task]] = defaultdict(list)
    kept: dict[int, list[Task]] = defaultdict(list)
    for task in instance.tasks:
        if task.lot is not None:
            continue
        if task.index in model.free:
            for station in task.stations:
                taken[station].append(task)
        else:
            kept[_place(model, task.index)[2]].append(task)
    for station, tasks in taken.items():
        for resource, capacity in capacities(instance.stations[station]).items():
            _add_resource(model, (station, resource, capacity), tasks, kept[station])


def _add_resource(
    model: Model, resource: tuple[int, str, int], tasks: list[Task], kept: list[Task]
) -> None:
    station, name, capacity = resource
    cp = model.cp
    intervals: list[cp_model.IntervalVar] = []
    demands: list[int] = []
    for task in tasks:
        literal = model.at[task.index, station]
        for n, (what, offset, minutes, load) in enumerate(task.loads):
            if what != name:
                continue
            first = model.start[task.index] + offset
            length = model.length[task.index] if minutes is None else minutes
            last = model.end[task.index] if minutes is None else first + minutes
            label = f"task {task.index} {name} {n} at {station}"
            intervals.append(cp.new_optional_interval_var(first, length, last, literal, label))
            demands.append(load)
    if not intervals or _never_full(model, resource, tasks, kept):
        return
    span = (
        min(model.low[t.index] for t in tasks),
        max(model.high[t.index] + t.longest for t in tasks),
    )
    for start, end, load in _levels_kept(model, resource, kept, span):
        intervals.append(cp.new_fixed_size_interval_var(start, end - start, f"kept {start}"))
        demands.append(load)
    if capacity == 1 and set(demands) == {1}:
        cp.add_no_overlap(intervals)
    else:
        cp.add_cumulative(intervals, demands, capacity)


def _never_full(
    model: Model, resource: tuple[int, str, int], tasks: list[Task], kept: list[Task]
) -> bool:
    """Whether everything at once would still fit."""
    station, name, capacity = resource
    if isinstance(model.instance.stations[station], Bench):
        return False
    most = sum(
        max((load.amount for load in t.loads if load.resource == name), default=0)
        for t in (*tasks, *kept)
    )
    return most <= capacity


def _levels_kept(
    model: Model, resource: tuple[int, str, int], kept: list[Task], span: tuple[int, int]
) -> list[tuple[int, int, int]]:
    """(start, end, load) of what stays, added up, within the span; at most the capacity."""
    station, name, capacity = resource
    changes: dict[int, int] = defaultdict(int)
    place = model.instance.stations[station]
    spells = list(unstaffed(place)) if isinstance(place, Bench) else []
    for task in kept:
        start, end, _ = _place(model, task.index)
        for what, offset, minutes, load in task.loads:
            if what == name:
                first = start + offset
                last = end if minutes is None else min(end, first + minutes)
                spells.append((first, last, load))
    for begins, ends, load in spells:
        first, last = max(begins, span[0]), min(ends, span[1])
        if first < last:
            changes[first] += load
            changes[last] -= load
    found: list[tuple[int, int, int]] = []
    level, since = 0, span[0]
    for minute in sorted(changes):
        if changes[minute] == 0:
            continue
        if level > 0:
            found.append((since, minute, min(level, capacity)))
        level, since = level + changes[minute], minute
    return found


def add_runs(model: Model) -> None:
    """Each free lot represents a run in one chamber, or joins another's and shares its times."""
    cp = model.cp
    for n, lot in enumerate(model.free_lots):
        leads = model.led_by[lot.index] == lot.index
        represents = model.literal(f"run {lot.index}", leads)
        model.represents[lot.index] = represents
        for station in lot.stations:
            model.in_chamber[lot.index, station] = model.literal(
                f"run {lot.index} in {station}",
                leads and model.guess.station[lot.tasks[0]] == station,
            )
        cp.add(sum(model.in_chamber[lot.index, station] for station in lot.stations) == represents)
        choices: list[Lit] = [represents]
        for leader in model.free_lots[:n]:
            if _may_join(model, lot, leader):
                choices.append(_add_join(model, lot, leader))
        for k, run in enumerate(model.kept_runs):
            if _may_join_kept(model, lot, run):
                joined = model.guess.run[lot.index] == model.guess.run[run.name]
                join = model.literal(f"lot {lot.index} joins kept {k}", joined)
                model.joins_kept[lot.index, k] = join
                choices.append(join)
                _same_times(model, lot, run.lots[0].tasks[0], join)
        cp.add_exactly_one(choices)
    _add_litres_in_use(model)


def _add_join(model: Model, lot: Lot, leader: Lot) -> Lit:
    join = model.literal(
        f"lot {lot.index} joins {leader.index}", model.led_by[lot.index] == leader.index
    )
    model.joins[lot.index, leader.index] = join
    model.cp.add_implication(join, model.represents[leader.index])
    for station in leader.stations:
        if station not in lot.stations:
            model.cp.add_implication(join, ~model.in_chamber[leader.index, station])
    _same_times(model, lot, leader.tasks[0], join)
    return join


def _same_times(model: Model, lot: Lot, task: int, join: Lit) -> None:
    own = lot.tasks[0]
    model.cp.add(model.start[own] == model.start[task]).only_enforce_if(join)
    model.cp.add(model.end[own] == model.end[task]).only_enforce_if(join)


def _may_join(model: Model, lot: Lot, leader: Lot) -> bool:
    own, other = lot.tasks[0], leader.tasks[0]
    return (
        lot.programme == leader.programme
        and leader.shortest <= lot.longest
        and model.low[own] <= model.high[other]
        and model.low[other] <= model.high[own]
        and any(
            station in lot.stations
            and lot.litres + leader.litres <= model.instance.chamber(station).usable_l
            and lot.rail + leader.rail <= model.instance.chamber(station).rail_mm
            for station in leader.stations
        )
        and not model.instance.apart(lot, leader)
    )


def _may_join_kept(model: Model, lot: Lot, run: KeptRun) -> bool:
    return (
        not run.closed
        and run.programme == lot.programme
        and run.station in lot.stations
        and lot.shortest <= run.end - run.start <= lot.longest
        and model.low[lot.tasks[0]] <= run.start <= model.high[lot.tasks[0]]
        and not any(model.instance.apart(lot, other) for other in run.lots)
    )


def _add_litres_in_use(model: Model) -> None:
    """Redundant: all free lots at once never fill more than all chambers together."""
    if len(model.free_lots) < 2:
        return
    stations = {s for lot in model.free_lots for s in lot.stations}
    capacity = sum(model.instance.chamber(s).usable_l for s in stations)
    intervals = [
        model.cp.new_interval_var(
            model.start[lot.tasks[0]],
            model.length[lot.tasks[0]],
            model.end[lot.tasks[0]],
            f"lot {lot.index}",
        )
        for lot in model.free_lots
    ]
    model.cp.add_cumulative(intervals, [lot.litres for lot in model.free_lots], capacity)


def add_run_capacity(model: Model) -> None:
    """Litres and rail of each run within its chamber."""
    cp, instance = model.cp, model.instance
    members: dict[int, list[Lot]] = defaultdict(list)
    for lot, leader in model.joins:
        members[leader].append(instance.lots[lot])
    for leader, lots in members.items():
        own = instance.lots[leader]
        for load, capacity in (
            ({lot.index: lot.litres for lot in (own, *lots)}, "usable_l"),
            ({lot.index: lot.rail for lot in (own, *lots)}, "rail_mm"),
        ):
            limits = {s: getattr(instance.chamber(s), capacity) for s in own.stations}
            if sum(load.values()) <= min(limits.values()):
                continue
            used = sum(load[lot.index] * model.joins[lot.index, leader] for lot in lots)
            room = sum(
                (limit - load[leader]) * model.in_chamber[leader, s] for s, limit in limits.items()
            )
            cp.add(used <= room)
    joining: dict[int, list[Lot]] = defaultdict(list)
    for lot, k in model.joins_kept:
        joining[k].append(instance.lots[lot])
    for k, lots in joining.items():
        run = model.kept_runs[k]
        chamber = instance.chamber(run.station)
        litres = chamber.usable_l - sum(lot.litres for lot in run.lots)
        rail = chamber.rail_mm - sum(lot.rail for lot in run.lots)
        cp.add(sum(lot.litres * model.joins_kept[lot.index, k] for lot in lots) <= litres)
        cp.add(sum(lot.rail * model.joins_kept[lot.index, k] for lot in lots) <= rail)


def add_apart(model: Model) -> None:
    """Lots that may not share a run never join the same one."""
    if not model.instance.problem.apart:
        return
    by_run: dict[tuple[str, int], list[tuple[Lot, Lit]]] = defaultdict(list)
    for (lot, leader), join in model.joins.items():
        by_run["free", leader].append((model.instance.lots[lot], join))
    for (lot, k), join in model.joins_kept.items():
        by_run["kept", k].append((model.instance.lots[lot], join))
    for run, joined in by_run.items():
        for pair in dict.fromkeys(model.instance.problem.apart):
            _add_apart_pair(model, run, joined, pair)


def _add_apart_pair(
    model: Model, run: tuple[str, int], joined: list[tuple[Lot, Lit]], pair: tuple[str, str]
) -> None:
    cp, (a, b) = model.cp, pair
    with_a = [(lot, join) for lot, join in joined if any(a in tags for tags in lot.tags)]
    with_b = [(lot, join) for lot, join in joined if any(b in tags for tags in lot.tags)]
    if a == b:
        cp.add_at_most_one(join for _, join in with_a)
        return
    both = {lot.index for lot, _ in with_a} & {lot.index for lot, _ in with_b}
    for lot, join in with_a:
        if lot.index in both:
            for other, joins in (*with_a, *with_b):
                if other.index != lot.index:
                    cp.add_implication(join, ~joins)
    if not with_a or not with_b:
        return
    has_a = model.literal(f"{run} has {a}", any(_joined(model, run, lot) for lot, _ in with_a))
    for lot, join in with_a:
        if lot.index not in both:
            cp.add_implication(join, has_a)
    for lot, join in with_b:
        if lot.index not in both:
            cp.add_implication(join, ~has_a)


def _joined(model: Model, run: tuple[str, int], lot: Lot) -> bool:
    """Whether the lot is in the run in the guess."""
    kind, n = run
    leader = n if kind == "free" else model.kept_runs[n].name
    return model.guess.run[lot.index] == model.guess.run[leader]


def add_licence(model: Model) -> None:
    """Runs that need a licensed person have one at each of their moments."""
    instance, cp = model.instance, model.cp
    for lot in model.free_lots:
        spans, task = instance.licensed_starts(lot.demand), lot.tasks[0]
        if spans is not None:
            cp.add_linear_expression_in_domain(model.start[task], _start_domain(spans, 1))
        if lot.programme in instance.cleared:
            ends = _start_domain(instance.licence or (), 1)
            cp.add_linear_expression_in_domain(model.end[task], ends)


def add_chamber_sequences(model: Model) -> None:
    """Runs of a chamber one after another, clean-downs between them, all inside its windows."""
    stations = sorted({s for lot in model.free_lots for s in lot.stations})
    for station in stations:
        free = [lot for lot in model.free_lots if station in lot.stations]
        kept = [run for run in model.kept_runs if run.station == station]
        _add_no_overlap(model, station, free, kept)
        if _cleans(model.instance, station, free, kept):
            _add_circuit(model, station, free, kept)
        else:
            for lot in free:
                _add_run_window(model, station, lot, [])
    for station in {run.station for run in model.kept_runs} - set(stations):
        runs = [run for run in model.kept_runs if run.station == station]
        programmes = [model.instance.first_programme[station], *(run.programme for run in runs)]
        cost = sum(model.instance.clean_cost[a][b] for a, b in pairwise(programmes))
        model.objective.append(model.instance.problem.weights.clean_down_cost * cost)


def _cleans(instance: Instance, station: int, free: list[Lot], kept: list[KeptRun]) -> bool:
    """Whether any clean-down can be needed in the chamber."""
    into = {lot.programme for lot in free} | {run.programme for run in kept}
    after = into | {instance.first_programme[station]}
    return any(instance.clean_down(a, b) != (0, 0) for a in after for b in into)


def _add_no_overlap(model: Model, station: int, free: list[Lot], kept: list[KeptRun]) -> None:
    cp = model.cp
    intervals = []
    for lot in free:
        start, end = model.start[lot.tasks[0]], model.end[lot.tasks[0]]
        present = model.in_chamber[lot.index, station]
        intervals.append(
            cp.new_optional_interval_var(
                start, model.length[lot.tasks[0]], end, present, f"run {lot.index} in {station}"
            )
        )
    intervals += [
        cp.new_fixed_size_interval_var(run.start, run.end - run.start, f"kept {run.name}")
        for run in kept
    ]
    cp.add_no_overlap(intervals)


def _add_circuit(model: Model, station: int, free: list[Lot], kept: list[KeptRun]) -> None:
    """Nodes: 0 the chamber idle, then kept runs in time, then free lots (or a self-loop)."""
    cp, instance = model.cp, model.instance
    nodes: list[KeptRun | Lot] = [*kept, *free]
    order = _sequence_of(model, station, nodes)
    arcs: list[tuple[int, int, Lit]] = []
    cleaning: dict[int, list[Expr]] = defaultdict(list)
    costs: list[Expr] = []

    def arc(before: int, after: int) -> None:
        literal = model.literal(f"{before} {after} in {station}", (before, after) in order)
        arcs.append((before, after, literal))
        if after == 0:
            return
        programme = nodes[before - 1].programme if before else instance.first_programme[station]
        minutes, cost = instance.clean_down(programme, nodes[after - 1].programme)
        if minutes:
            cleaning[after].append(minutes * literal)
        if cost:
            costs.append(cost * literal)
        if before and not (before <= len(kept) and after <= len(kept)):
            gap = _run_start(model, nodes[after - 1]) - _run_end(model, nodes[before - 1])
            cp.add(gap >= minutes).only_enforce_if(literal)

    for after in range(len(nodes) + 1):
        for before in range(len(nodes) + 1):
            if before != after and _may_follow(model, station, nodes, (before, after), len(kept)):
                arc(before, after)
    for n, lot in enumerate(free, start=len(kept) + 1):
        arcs.append((n, n, ~model.in_chamber[lot.index, station]))
    if not kept:
        empty = model.literal(f"{station} unused", not order)
        arcs.append((0, 0, empty))
        for lot in free:
            cp.add_implication(empty, ~model.in_chamber[lot.index, station])
    cp.add_circuit(arcs)
    for n, lot in enumerate(free, start=len(kept) + 1):
        _add_run_window(model, station, lot, cleaning[n])
    model.objective += [instance.problem.weights.clean_down_cost * cost for cost in costs]


def _sequence_of(model: Model, station: int, nodes: list[KeptRun | Lot]) -> set[tuple[int, int]]:
    """Arcs of the guess's sequence in the chamber."""
    schedule = model.guess
    inside = []
    for n, node in enumerate(nodes, start=1):
        if isinstance(node, KeptRun):
            inside.append((node.start, n))
        elif model.led_by[node.index] == node.index and schedule.station[node.tasks[0]] == station:
            inside.append((schedule.start[node.tasks[0]], n))
    path = [0, *(n for _, n in sorted(inside)), 0]
    return set(pairwise(path)) if len(path) > 2 else set()


def _may_follow(
    model: Model,
    station: int,
    nodes: list[KeptRun | Lot],
    arc: tuple[int, int],
    kept: int,
) -> bool:
    """Whether an arc is possible at all; kept runs stay in order, and keep to their windows."""
    instance = model.instance
    before, after = arc
    if before <= kept and after <= kept:
        return before + 1 == after or (after == 0 and before == kept)
    if after == 0:
        return True
    second = nodes[after - 1]
    programme = nodes[before - 1].programme if before else instance.first_programme[station]
    minutes = instance.clean_min[programme][second.programme]
    if isinstance(second, KeptRun):
        first = nodes[before - 1]
        assert isinstance(first, Lot)
        if not second.closed:
            windows = instance.windows[station]
            cleaned = second.start - minutes
            if windows is not None and not any(
                s <= cleaned and second.end <= e for s, e in windows
            ):
                return False
        return model.low[first.tasks[0]] + first.shortest + minutes <= second.start
    if before == 0:
        return True
    first = nodes[before - 1]
    if isinstance(first, KeptRun):
        return first.end + minutes <= model.high[second.tasks[0]]
    earliest = model.low[first.tasks[0]] + first.shortest + minutes
    return earliest <= model.high[second.tasks[0]]


def _run_start(model: Model, node: KeptRun | Lot) -> Expr:
    return node.start if isinstance(node, KeptRun) else model.start[node.tasks[0]]


def _run_end(model: Model, node: KeptRun | Lot) -> Expr:
    return node.end if isinstance(node, KeptRun) else model.end[node.tasks[0]]


def _add_run_window(model: Model, station: int, lot: Lot, cleaning: list[Expr]) -> None:
    """A run and the clean-down before it lie inside one window, and not before the epoch."""
    cp = model.cp
    start, end = model.start[lot.tasks[0]], model.end[lot.tasks[0]]
    present = model.in_chamber[lot.index, station]
    spans = model.instance.windows[station]
    cleaned = start - sum(cleaning) if cleaning else start
    if cleaning:
        cp.add(cleaned >= 0).only_enforce_if(present)
    if spans is None:
        return
    starts = _start_domain(spans, lot.shortest)
    cp.add_linear_expression_in_domain(start, starts).only_enforce_if(present)
    if cleaning or lot.longest > lot.shortest:
        _add_one_window(model, spans, (cleaned, end, lot.shortest), present, lot.tasks[0])


def _late(model: Model, when: Expr, due: int, hinted: int) -> Expr:
    """Minutes of `when` past `due`, at least."""
    if isinstance(when, int):
        return max(0, when - due)
    late = model.number(0, model.instance.horizon - due, "late", max(0, hinted - due))
    model.cp.add(late >= when - due)
    return late


def add_lateness(model: Model) -> None:
    """Weighted minutes late of items and steps, and the number of late items."""
    instance, guess = model.instance, model.guess
    weights = instance.problem.weights
    for task in instance.tasks:
        t, step, item = task.index, task.step, instance.item(task)
        start, end = model.start[t], model.end[t]
        value = weights.lateness * item.weight
        if step.due_min is not None and value:
            model.objective.append(value * _late(model, end, step.due_min, guess.end[t]))
        mould = weights.lateness * step.start_by_weight
        if step.start_by_min is not None and mould:
            model.objective.append(mould * _late(model, start, step.start_by_min, guess.start[t]))
        if not instance.is_last(task) or item.due_min is None:
            continue
        if value:
            model.objective.append(value * _late(model, end, item.due_min, guess.end[t]))
        if weights.late_items:
            model.objective.append(weights.late_items * _is_late(model, task, item.due_min))


def _is_late(model: Model, task: Task, due: int) -> Expr:
    end = model.end[task.index]
    if isinstance(end, int):
        return int(end > due)
    late = model.literal(f"item {task.item} is late", model.guess.end[task.index] > due)
    model.cp.add(end <= due).only_enforce_if(~late)
    return late


def add_running(model: Model) -> None:
    """Minutes that runs last."""
    instance = model.instance
    weight = instance.problem.weights.running_min
    if not weight:
        return
    for run in model.kept_runs:
        model.objective.append(weight * (run.end - run.start))
    for lot in model.free_lots:
        represents = model.represents[lot.index]
        model.objective.append(weight * lot.shortest * represents)
        if lot.longest == lot.shortest:
            continue
        lasts = model.guess.end[lot.tasks[0]] - model.guess.start[lot.tasks[0]]
        leads = model.led_by[lot.index] == lot.index
        longer = model.number(
            0,
            lot.longest - lot.shortest,
            f"run {lot.index} longer",
            lasts - lot.shortest if leads else 0,
        )
        model.cp.add(longer >= model.length[lot.tasks[0]] - lot.shortest).only_enforce_if(
            represents
        )
        model.objective.append(weight * longer)


def add_energy(model: Model) -> None:
    """Whole kilowatt-hours that runs use: what the shortest run of the lot takes in its chamber,
    and what it takes longer.
    """
    instance, cp = model.instance, model.cp
    weight = instance.problem.weights.energy
    if not weight:
        return
    for run in model.kept_runs:
        model.objective.append(weight * instance.energy_kwh(run.station, run.end - run.start))
    for lot in model.free_lots:
        least = {s: instance.energy_kwh(s, lot.shortest) for s in lot.stations}
        most = {s: instance.energy_kwh(s, lot.longest) for s in lot.stations}
        at = {s: model.in_chamber[lot.index, s] for s in lot.stations}
        model.objective += [weight * least[s] * at[s] for s in lot.stations]
        longer = max(most[s] - least[s] for s in lot.stations)
        if not longer:
            continue
        lasts = model.guess.end[lot.tasks[0]] - model.guess.start[lot.tasks[0]]
        guessed, more = model.guess.station[lot.tasks[0]], 0
        if model.led_by[lot.index] == lot.index and guessed in least:
            more = max(0, instance.energy_kwh(guessed, lasts) - least[guessed])
        further = model.number(0, longer, f"further energy {lot.index}", more)
        for s in lot.stations:
            power = instance.chamber(s).power_w
            if most[s] > least[s]:
                used = WATT_MINUTES_IN_A_KWH * (least[s] + further)
                cp.add(used >= power * model.length[lot.tasks[0]]).only_enforce_if(at[s])
        model.objective.append(weight * further)


def add_changes(model: Model) -> None:
    """Steps moved from the last plan."""
    instance = model.instance
    weight = instance.problem.weights.changes
    tolerance = instance.problem.change_tolerance_min
    if not weight:
        return
    for task in instance.tasks:
        if task.before is None:
            continue
        station, at = task.before
        t = task.index
        if t not in model.free:
            start, _, place = _place(model, t)
            model.objective.append(weight * (place != station or abs(start - at) > tolerance))
            continue
        shifted = abs(model.guess.start[t] - at) > tolerance
        moved = model.literal(f"task {t} moved", model.guess.station[t] != station or shifted)
        model.objective.append(weight * moved)
        model.cp.add_linear_constraint(
            model.start[t], at - tolerance, at + tolerance
        ).only_enforce_if(~moved)
        _add_same_station(model, task, station, moved)


def _add_same_station(model: Model, task: Task, station: int, moved: Lit) -> None:
    """If the task has not moved, it is at the station."""
    cp = model.cp
    if station == -1 and not task.stations:
        return
    if station not in task.stations:
        cp.add_implication(~moved, moved)
        return
    if task.lot is None:
        cp.add_implication(~moved, model.at[task.index, station])
        return
    lot = model.instance.lots[task.lot]
    choices: list[Lit] = [moved]
    if (lot.index, station) in model.in_chamber:
        choices.append(model.in_chamber[lot.index, station])
    for (joining, leader), join in model.joins.items():
        if joining == lot.index and (leader, station) in model.in_chamber:
            joined = model.literal(
                f"lot {lot.index} joins {leader} in {station}",
                model.led_by[lot.index] == leader and model.guess.station[lot.tasks[0]] == station,
            )
            cp.add_implication(joined, join)
            cp.add_implication(joined, model.in_chamber[leader, station])
            choices.append(joined)
    choices += [
        join
        for (joining, k), join in model.joins_kept.items()
        if joining == lot.index and model.kept_runs[k].station == station
    ]
    cp.add_bool_or(choices)


def add_finish(model: Model) -> None:
    """The end of the last step."""
    instance = model.instance
    weight = instance.problem.weights.finish
    if not weight or not instance.tasks:
        return
    ends = [model.end[t] for t in range(len(instance.tasks))]
    least = max((0, *(e for e in ends if isinstance(e, int))))
    finish = model.number(least, instance.horizon, "finish", max((0, *model.guess.end)))
    for task in instance.tasks:
        if task.index in model.free and instance.is_last(task):
            model.cp.add(finish >= model.end[task.index])
    model.objective.append(weight * finish)


def read_schedule(model: Model, value: Callable[[Expr], int]) -> Schedule:
    """The schedule of a solution; `value` gives the value of an expression."""
    instance = model.instance
    n = len(instance.tasks)
    start = [int(value(model.start[t])) for t in range(n)]
    end = [int(value(model.end[t])) for t in range(n)]
    station = [-1] * n
    for task in instance.tasks:
        if task.index not in model.free:
            station[task.index] = _place(model, task.index)[2]
    for (t, s), literal in model.at.items():
        if value(literal):
            station[t] = s
    leader: dict[int, int] = {}
    place: dict[int, int] = {}
    for run in model.kept_runs:
        for lot in run.lots:
            leader[lot.index] = run.name
        place[run.name] = run.station
    for lot in model.free_lots:
        if value(model.represents[lot.index]):
            leader[lot.index] = lot.index
    for (index, s), literal in model.in_chamber.items():
        if value(literal):
            place[index] = s
    for (index, other), literal in model.joins.items():
        if value(literal):
            leader[index] = other
    for (index, k), literal in model.joins_kept.items():
        if value(literal):
            leader[index] = model.kept_runs[k].name
    for lot in model.free_lots:
        for t in lot.tasks:
            station[t] = place[leader[lot.index]]
    lowest: dict[int, int] = {}
    for index, name in sorted(leader.items()):
        lowest.setdefault(name, index)
    return Schedule(
        start=tuple(start),
        end=tuple(end),
        station=tuple(station),
        run=tuple(lowest[leader[lot.index]] for lot in instance.lots),
    )
