"""Finds what contradicts itself in a problem document, each with the mend."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from itertools import pairwise
from typing import TYPE_CHECKING

from scheduler.licence import asks_for_licence, licensed_starts

if TYPE_CHECKING:
    from scheduler.problem import (
        BatchStep,
        Chamber,
        Extent,
        FixedPlacement,
        Item,
        Problem,
        Programme,
        RoomStep,
        Station,
        Step,
        Window,
    )

STATION_OF_STEP = {"batch": "chamber", "room": "room", "store": "store", "bench": "bench"}
LARGEST_OBJECTIVE = 2**53


def contradictions(problem: Problem) -> list[str]:
    """All contradictions in the document, each as one line naming the field and the mend."""
    naming = _duplicates(problem) + _unknown_names(problem)
    if naming:
        return naming
    return [
        *_calendars(problem),
        *_steps(problem),
        *_together(problem),
        *_fixed(problem),
        *_magnitudes(problem),
    ]


def joined_windows(chamber: Chamber) -> tuple[Window, ...] | None:
    """The chamber's windows, those that touch made one where `windows_join` says so."""
    if chamber.windows is None or not chamber.windows_join:
        return chamber.windows
    merged: list[Window] = []
    for window in chamber.windows:
        if merged and merged[-1].end == window.start:
            merged[-1] = merged[-1]._replace(end=window.end)
        else:
            merged.append(window)
    return tuple(merged)


def why_unusable(item: Item, step: Step, station: Station) -> str | None:
    """Why the station cannot take this step of the item, whatever else is planned; or None."""
    if station.kind == "chamber" and step.kind == "batch":
        return _why_not_chamber(item, step, station)
    if station.kind == "room" and step.kind == "room":
        peak = peak_g_h(step)
        if step.rack_mm > station.rack_mm:
            return f"needs {step.rack_mm} mm of rack, it has {station.rack_mm}"
        if peak > station.removal_g_h:
            return f"gives off {peak} g/h, it removes {station.removal_g_h}"
        return _why_no_window(step.min_min, station.windows)
    if station.kind == "store" and step.kind == "store":
        litres = item.volume_l if step.litres is None else step.litres
        if litres > station.litres:
            return f"needs {litres} L, it holds {station.litres}"
        return None
    if station.kind == "bench" and step.kind == "bench":
        if any(
            shift.people >= step.people and shift.end - shift.start >= step.min_min
            for shift in station.shifts
        ):
            return None
        return f"no shift has {step.people} people for {step.min_min} min on end"
    return f"it is a {station.kind}"


def why_unlicensed(
    step: BatchStep, programme: Programme, windows: Sequence[Window] | None
) -> str | None:
    """Why no run with this step can have the licensed people that its programme asks for, whatever
    else is planned; or None.
    """
    needs = f"programme {programme.id!r} needs a licensed person"
    if windows is None or not asks_for_licence(programme):
        return None
    if not windows:
        return f"{needs} and licence_windows is empty; add a window"
    shortest, longest = max(step.min_min, programme.last_moment_min), step.longest_min
    starts = licensed_starts(programme, windows, shortest, longest)
    if starts is None or starts:
        return None
    return (
        f"{needs} at each of its moments, and licence_windows has one for no run of {shortest} to "
        f"{longest} min; add a window or raise max_min"
    )


def peak_g_h(step: RoomStep) -> int:
    """The most moisture given off in any hour, g/h."""
    return max(step.g_h, default=0) if isinstance(step.g_h, tuple) else step.g_h


def _why_not_chamber(item: Item, step: BatchStep, chamber: Chamber) -> str | None:
    if step.programme not in chamber.programmes:
        return f"it does not run programme {step.programme!r}"
    if item.volume_l > chamber.usable_l:
        return f"fills {item.volume_l} L, usable are {chamber.usable_l}"
    if item.rail_mm > chamber.rail_mm:
        return f"takes {item.rail_mm} mm of rail, it has {chamber.rail_mm}"
    if item.size_mm is not None and not _passes(item.size_mm, chamber):
        return f"{'×'.join(map(str, item.size_mm))} mm does not fit through its door or inside"
    return _why_no_window(step.min_min, joined_windows(chamber))


def _passes(size: Extent, chamber: Chamber) -> bool:
    """A box, turned square to the walls, passes the door by its two shorter sides."""
    short, middle, long = sorted(size)
    if chamber.door_mm is not None:
        narrow, wide = sorted(chamber.door_mm)
        if short > narrow or middle > wide:
            return False
    if chamber.inside_mm is None:
        return True
    least, between, most = sorted(chamber.inside_mm)
    return short <= least and middle <= between and long <= most


def _why_no_window(duration: int, windows: Sequence[Window] | None) -> str | None:
    if windows is None or any(w.end - w.start >= duration for w in windows):
        return None
    return f"no window is {duration} min long"


def _duplicates(problem: Problem) -> list[str]:
    lists: list[tuple[str, Iterable[str]]] = [
        ("stations", (s.id for s in problem.stations)),
        ("programmes", (p.id for p in problem.programmes)),
        ("items", (i.id for i in problem.items)),
        ("together", (i for group in problem.together for i in group)),
    ]
    lists += [(f"items {i.id!r} steps", (s.id for s in i.steps)) for i in problem.items]
    found = [
        f"{field}: {name!r} is there {n} times; name each once"
        for field, names in lists
        for name, n in Counter(names).items()
        if n > 1
    ]
    for field, placements in (("fixed", problem.fixed), ("previous", problem.previous)):
        keys = Counter((p.item, p.step) for p in placements)
        found += [
            f"{field}: step {step!r} of item {item!r} is there {n} times; keep one"
            for (item, step), n in keys.items()
            if n > 1
        ]
    pairs = Counter((c.after, c.into) for c in problem.clean_downs)
    found += [
        f"clean_downs: {a!r} to {b!r} is there {n} times; keep one"
        for (a, b), n in pairs.items()
        if n > 1
    ]
    return found


def _unknown_names(problem: Problem) -> list[str]:
    stations = {s.id: s for s in problem.stations}
    programmes = {p.id for p in problem.programmes}
    steps = {i.id: {s.id: s for s in i.steps} for i in problem.items}
    found: list[str] = []

    def known_programme(field: str, programme: str | None) -> None:
        if programme is not None and programme not in programmes:
            found.append(
                f"{field}: programme {programme!r} is not in programmes; add or correct it"
            )

    def known_station(field: str, station: str, step_kind: str) -> None:
        if station not in stations:
            found.append(f"{field}: station {station!r} is not in stations; add or correct it")
        elif stations[station].kind != STATION_OF_STEP.get(step_kind):
            found.append(
                f"{field}: station {station!r} is a {stations[station].kind}, "
                f"a {step_kind} step needs a {STATION_OF_STEP.get(step_kind, 'step without one')}"
            )

    for station in problem.stations:
        if station.kind == "chamber":
            for programme in (*station.programmes, station.starts_in):
                known_programme(f"stations {station.id!r}", programme)
    for clean in problem.clean_downs:
        known_programme("clean_downs after", clean.after)
        known_programme("clean_downs into", clean.into)
    for item in problem.items:
        for step in item.steps:
            where = f"items {item.id!r} steps {step.id!r}"
            if step.kind == "batch":
                known_programme(where, step.programme)
            if step.kind != "wait":
                for name in step.stations:
                    known_station(where, name, step.kind)
    for group in problem.together:
        found += [
            f"together: item {name!r} is not in items; add or correct it"
            for name in group
            if name not in steps
        ]
    for fixed in problem.fixed:
        if fixed.item not in steps or fixed.step not in steps[fixed.item]:
            found.append(
                f"fixed: item {fixed.item!r} has no step {fixed.step!r}; correct or drop it"
            )
            continue
        kind = steps[fixed.item][fixed.step].kind
        where = f"fixed {fixed.item!r} {fixed.step!r}"
        if fixed.station is not None:
            known_station(where, fixed.station, kind)
        elif kind != "wait":
            found.append(f"{where}: station is missing; name it")
        if (kind == "batch") != (fixed.run is not None):
            found.append(f"{where}: run must be given for a batch step and for no other")
    return found


def _calendars(problem: Problem) -> list[str]:
    calendars: list[tuple[str, Sequence[tuple[int, ...]]]] = [
        ("licence_windows", problem.licence_windows or ())
    ]
    for station in problem.stations:
        where = f"stations {station.id!r}"
        if station.kind == "bench":
            calendars.append((f"{where} shifts", station.shifts))
        elif station.kind != "store":
            calendars.append((f"{where} windows", station.windows or ()))
    found = []
    for field, spans in calendars:
        found += [
            f"{field}: [{s[0]}, {s[1]}] ends before it starts; put the start first"
            for s in spans
            if s[1] <= s[0]
        ]
        found += [
            f"{field}: [{a[0]}, {a[1]}] and [{b[0]}, {b[1]}] overlap or are out of order; "
            "list them by start, without overlap"
            for a, b in pairwise(spans)
            if b[0] < a[1]
        ]
    return found


def _steps(problem: Problem) -> list[str]:
    stations = {s.id: s for s in problem.stations}
    fixed = {(f.item, f.step) for f in problem.fixed}
    programmes = {p.id: p for p in problem.programmes}
    unlicensed: dict[tuple[str, int, int], str | None] = {}
    found = []
    for item in problem.items:
        earliest = item.release_min
        for index, step in enumerate(item.steps):
            where = f"items {item.id!r} steps {step.id!r}"
            if step.longest_min < step.min_min:
                found.append(f"{where}: max_min {step.max_min} is less than min_min {step.min_min}")
            if step.lag_max is not None and step.lag_max < step.lag_min:
                found.append(f"{where}: lag_max {step.lag_max} is less than lag_min {step.lag_min}")
            if index == 0 and (step.lag_min or step.lag_max is not None):
                found.append(f"{where}: a first step has no lag; use release_min instead")
            if step.kind == "bench" and step.longest_min != step.min_min:
                found.append(f"{where}: bench work lasts exactly min_min; drop max_min")
            if step.kind != "wait" and step.min_min == 0:
                found.append(f"{where}: min_min must be at least 1")
            shortest = step.min_min
            if step.kind == "batch":
                shortest = max(shortest, programmes[step.programme].last_moment_min)
                if shortest > max(step.min_min, step.longest_min):
                    found.append(
                        f"{where}: programme {step.programme!r} needs a licensed person {shortest} "
                        f"min after the start, and the step lasts no more than {step.longest_min}; "
                        "raise max_min or correct licence_after_min"
                    )
            if (item.id, step.id) in fixed:
                continue
            if step.kind == "batch" and shortest <= step.longest_min:
                key = step.programme, shortest, step.longest_min
                if key not in unlicensed:
                    programme = programmes[step.programme]
                    unlicensed[key] = why_unlicensed(step, programme, problem.licence_windows)
                why = unlicensed[key]
                found += [f"{where}: {why}"] if why else []
            earliest = max(earliest + step.lag_min, step.not_before_min) + shortest
            if step.kind != "wait":
                reasons = {s: why_unusable(item, step, stations[s]) for s in step.stations}
                if all(reasons.values()):
                    listed = "; ".join(f"{name}: {why}" for name, why in reasons.items())
                    found.append(
                        f"{where}: no station can take it ({listed}); name another station or "
                        "change the step"
                    )
        if earliest > problem.horizon_min:
            found.append(
                f"items {item.id!r}: its steps end at {earliest} at the earliest, after "
                f"horizon_min {problem.horizon_min}; raise horizon_min or release it earlier"
            )
    return found


def _together(problem: Problem) -> list[str]:
    items = {i.id: i for i in problem.items}
    chambers = {s.id: s for s in problem.stations if s.kind == "chamber"}
    fixed = {(f.item, f.step) for f in problem.fixed}
    found = []
    for group in problem.together:
        where = f"together [{', '.join(group)}]"
        members = [items[name] for name in group]
        batches = [[s for s in m.steps if s.kind == "batch"] for m in members]
        if len({tuple(s.programme for s in steps) for steps in batches}) > 1:
            found.append(f"{where}: its items have different programmes; give all the same ones")
            continue
        tags = Counter(tag for m in members for tag in set(m.tags))
        for a, b in problem.apart:
            if (a == b and tags[a] > 1) or (
                a != b
                and any(a in m.tags and b in n.tags for m in members for n in members if m is not n)
            ):
                found.append(f"{where}: {a!r} and {b!r} must travel apart; drop one of the two")
        for steps in zip(*batches, strict=True):
            if any((m.id, s.id) in fixed for m, s in zip(members, steps, strict=True)):
                continue
            if max(s.min_min for s in steps) > min(s.longest_min for s in steps):
                found.append(f"{where}: no duration suits all of {[s.id for s in steps]}")
            volume, rail = sum(m.volume_l for m in members), sum(m.rail_mm for m in members)
            shared = [
                chambers[name]
                for name in steps[0].stations
                if all(
                    name in s.stations and why_unusable(m, s, chambers[name]) is None
                    for m, s in zip(members, steps, strict=True)
                )
            ]
            if not any(c.usable_l >= volume and c.rail_mm >= rail for c in shared):
                found.append(
                    f"{where}: no chamber takes all at once ({volume} L, {rail} mm of rail) for "
                    f"{steps[0].programme!r}; split the group or name a larger chamber"
                )
    return found


def _fixed(problem: Problem) -> list[str]:
    items = {i.id: i for i in problem.items}
    stations = {s.id: s for s in problem.stations}
    found = []
    placed = {(f.item, f.step): f for f in problem.fixed}
    runs = defaultdict(list)
    use: dict[tuple[str, str, int], list[tuple[int, int]]] = defaultdict(list)
    for fixed in problem.fixed:
        where = f"fixed {fixed.item!r} {fixed.step!r}"
        item = items[fixed.item]
        step = next(s for s in item.steps if s.id == fixed.step)
        if fixed.end < fixed.start:
            found.append(f"{where}: ends before it starts; put the earlier minute in start")
        if fixed.state == "in_progress" and fixed.start > 0:
            found.append(f"{where}: in progress but starts after the epoch; call it frozen")
        if fixed.run is not None:
            runs[fixed.run].append(fixed)
        station = stations[fixed.station] if fixed.station is not None else None
        if station is None:
            continue
        for resource, capacity, start, end, load in _fact_loads(item, step, station, fixed):
            use[station.id, resource, capacity] += [(start, load), (end, -load)]
    for (name, resource, capacity), changes in use.items():
        level = 0
        for minute, change in sorted(changes):
            level += change
            if level > capacity:
                found.append(
                    f"fixed: station {name!r} holds {level} {resource} at minute {minute}, it has "
                    f"{capacity}; correct the placements or the station"
                )
                break
    for item in problem.items:
        own = [placed[item.id, s.id] for s in item.steps if (item.id, s.id) in placed]
        found += [
            f"fixed {item.id!r}: {b.step!r} starts before {a.step!r} ends; correct one of them"
            for a, b in pairwise(own)
            if b.start < a.end
        ]
    found += _fixed_runs(problem, runs.values())
    return found


def _fact_loads(
    item: Item, step: Step, station: Station, fixed: FixedPlacement
) -> list[tuple[str, int, int, int, int]]:
    """(resource, capacity, start, end, load) of a fixed step at its room, store or bench."""
    start, end = fixed.start, fixed.end
    if step.kind == "room" and station.kind == "room":
        rates = [(start, end, step.g_h)] if isinstance(step.g_h, int) else []
        if isinstance(step.g_h, tuple):
            stop = min(end, start + step.min_min)
            rates = [
                (start + 60 * h, min(stop, start + 60 * h + 60), rate)
                for h, rate in enumerate(step.g_h)
                if start + 60 * h < stop
            ]
        return [
            ("rack_mm", station.rack_mm, start, end, step.rack_mm),
            *(("g_h", station.removal_g_h, a, b, rate) for a, b, rate in rates),
        ]
    if step.kind == "store" and station.kind == "store":
        litres = item.volume_l if step.litres is None else step.litres
        return [("litres", station.litres, start, end, litres)]
    if step.kind == "bench" and station.kind == "bench":
        return [
            ("people", shift.people, start, end, step.people)
            for shift in station.shifts
            if shift.start <= start and end <= shift.end
        ]
    return []


def _fixed_runs(problem: Problem, runs: Iterable[list[FixedPlacement]]) -> list[str]:
    items = {i.id: i for i in problem.items}
    chambers = {s.id: s for s in problem.stations if s.kind == "chamber"}
    found = []
    spans = defaultdict(list)
    for run in runs:
        where = f"fixed run {run[0].run!r}"
        if len({(f.station, f.start, f.end) for f in run}) > 1:
            found.append(f"{where}: its placements differ in station, start or end; make them one")
            continue
        programmes = {
            s.programme
            for f in run
            for s in items[f.item].steps
            if s.id == f.step and s.kind == "batch"
        }
        if len(programmes) > 1:
            found.append(f"{where}: more than one programme {sorted(programmes)}; split the run")
        chamber = chambers[str(run[0].station)]
        if sum(items[f.item].volume_l for f in run) > chamber.usable_l:
            found.append(f"{where}: fills more than {chamber.usable_l} L; correct the volumes")
        if sum(items[f.item].rail_mm for f in run) > chamber.rail_mm:
            found.append(f"{where}: takes more than {chamber.rail_mm} mm of rail")
        spans[chamber.id].append((run[0].start, run[0].end, run[0].run))
    for name, occupied in spans.items():
        found += [
            f"fixed: runs {a[2]!r} and {b[2]!r} overlap in {name!r}; correct one of them"
            for a, b in pairwise(sorted(occupied))
            if b[0] < a[1]
        ]
    return found


def _magnitudes(problem: Problem) -> list[str]:
    """Keep the objective within what JSON numbers and the solver hold exactly."""
    weights, horizon = problem.weights, problem.horizon_min
    per_minute = sum(
        item.weight * (1 + sum(s.due_min is not None for s in item.steps))
        + sum(s.start_by_weight for s in item.steps)
        for item in problem.items
    )
    steps = sum(len(item.steps) for item in problem.items)
    largest_cost = max(
        (c.cost for c in problem.clean_downs), default=problem.clean_down_default.cost
    )
    chambers = [s for s in problem.stations if s.kind == "chamber"]
    most_kwh = -(-max((c.power_w for c in chambers), default=0) * horizon // 60_000)
    worst = (
        weights.lateness * per_minute * 2 * horizon
        + weights.late_items * len(problem.items)
        + weights.running_min * steps * horizon
        + weights.clean_down_cost * steps * max(largest_cost, problem.clean_down_default.cost)
        + weights.changes * steps
        + weights.energy * steps * most_kwh
        + weights.finish * horizon
    )
    if worst > LARGEST_OBJECTIVE:
        return [
            f"weights: the objective could reach {worst:.1e}, more than 2^53; make the weights or "
            "the items' weights smaller"
        ]
    return []
