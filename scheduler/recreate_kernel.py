"""The compiled part of ruin and recreate over whole routes; see `scheduler.recreate`.

Plain loops over arrays, compiled by numba. Chambers and their runs are kept in the state of
`scheduler.kernel`; rooms, stores and benches as profiles of use over time. A move takes some units
off the board and places them again one after the other, everything else left where it is. What it
does to the board is written down, so that a move that is not accepted is taken back.
"""

from typing import NamedTuple

import numpy as np

from scheduler.kernel import (
    AT_START,
    CHAMBER,
    CHARGE_FROM,
    CHARGE_TO,
    CLEARED,
    DUE,
    END,
    FAR,
    FIRST_PROGRAMME,
    FIXED,
    HEAD,
    IMPOSSIBLE,
    LENGTH,
    LONGEST,
    LONGEST_OF,
    N_FREE,
    N_UNDO,
    NEXT,
    ONCE,
    PLACE,
    PROGRAMME,
    PROGRAMME_OF,
    RATE,
    RUN,
    SHORTEST,
    SIZE,
    START,
    Bools,
    Floats,
    Given,
    Ints,
    State,
    below,
    compiled,
    first_start,
    first_times,
    fits,
    fraction,
    inlined,
    last_start,
    link,
    put_in,
    refresh,
    run_charge,
    run_end,
    take_out,
    take_slot,
    unlink,
)

NOWHERE = -FAR
MOST_TRIES = 100
"""Nodes placed for one unit, those placed again because of a longest lag included."""
EARLY = 1e-3
"""Of two runs that cost the same a lot takes the earlier: charge for a minute later."""
MOST_OUT, MOST_RUN_OUT, MOST_RUNS = 10, 40, 3
"""Units that a move takes off the board: around a piece, and with whole runs, so many of them."""
AROUND, MAKE_WAY, WHOLE_RUNS = 0.25, 0.2, 0.25
"""Chances that a move clears around a piece, makes way for one, or clears whole runs; else pieces
alike.
"""
MOST_AWAY, SKIPPED = 30, 0.1
"""Units that make way for a piece at most, and the chance that one is passed over."""
FEW, MANY = 8, 64
"""The costliest is chosen of up to so many units."""


BLINK, HOLDING = 0.02, 0.5
"""Chances to overlook a run, and that new runs of a move are put off."""


class Work(NamedTuple):
    """What does not change. T tasks, N nodes, U units; columns are named below."""

    task: Ints  # [T, 12]
    charge: Floats  # [T, 9]
    option: Ints  # [., 3] stations that take a task: station, slice of the spans
    span: Ints  # [., 2] minutes
    load: Ints  # [., 4] resource, offset, minutes (-1: to the end), amount
    row_of: Ints  # [stations, resources] profiles
    profile: Ints  # [rows, 2] capacity, first place in Board.time
    node: Ints  # [N, 3] lot (-1: none), slice of the node tasks
    node_task: Ints
    lot_node: Ints  # [L]
    chamber: Ints  # [C] stations
    unit: Ints  # [U, 2] slice of the nodes
    unit_key: Floats  # [K, U] by which units may be put in order
    unit_order: Ints  # [K, movable] units not all fixed, in those orders
    last_task: Ints  # [items] the last task of each route


# Work.task; LAG_MIN and LAG_MAX are after the task before, which is the one with an index less by
# one unless POSITION is 0.
(
    UNIT,
    NODE,
    POSITION,
    SHORTEST_T,
    LONGEST_T,
    LAG_MIN,
    LAG_MAX,
    EARLIEST,
    OPTION_FROM,
    LOAD_FROM,
    IS_FIXED,
    IS_LAST,
) = range(12)
# Work.charge: rates are for each minute after.
(
    START_BY,
    START_RATE,
    STEP_DUE,
    ITEM_DUE,
    DUE_RATE,
    LATE_ONCE,
    STATION_BEFORE,
    START_BEFORE,
    CHANGE,
) = range(9)


class Board(NamedTuple):
    """What changes, beside the runs."""

    place: Ints  # [T, 3] start, end, station
    time: Ints  # one profile after another: when the use changes
    level: Ints  # and what it is from then on
    size: Ints  # [rows]
    not_before: Ints  # [N] minutes
    out: Ints  # [U + 1] units off the board; the last is their number
    is_out: Bools  # [U]
    log: Ints  # [., 5]
    logged: Ints  # [1]
    total: Floats  # [2] charges now and of the best, without the finish
    finish: Ints  # [2]
    best_place: Ints  # [T, 3]
    best_run: Ints  # [L]


PUT, TAKE, ENTER, LEAVE, OPEN, CLOSE, RESIZE = range(7)
P_START, P_END, P_STATION = range(3)


@inlined
def write(b: Board, kind: int, one: int, two: int, three: int, four: int) -> None:
    """Write down what was done."""
    n = b.logged[0]
    b.log[n, 0], b.log[n, 1], b.log[n, 2], b.log[n, 3], b.log[n, 4] = kind, one, two, three, four
    b.logged[0] = n + 1


@inlined
def task_cost(g: Given, w: Work, b: Board, t: int) -> float:
    """What a placed task is charged for."""
    start, end = b.place[t, P_START], b.place[t, P_END]
    cost = w.charge[t, START_RATE] * max(0.0, start - w.charge[t, START_BY])
    cost += w.charge[t, DUE_RATE] * max(0.0, end - w.charge[t, STEP_DUE])
    if end > w.charge[t, ITEM_DUE]:
        cost += w.charge[t, LATE_ONCE] + w.charge[t, DUE_RATE] * (end - w.charge[t, ITEM_DUE])
    if w.charge[t, CHANGE] > 0.0 and (
        b.place[t, P_STATION] != w.charge[t, STATION_BEFORE]
        or abs(start - w.charge[t, START_BEFORE]) > g.tolerance
    ):
        cost += w.charge[t, CHANGE]
    return cost


@compiled
def cut(time: Ints, level: Ints, size: Ints, row: int, base: int, minute: int) -> int:
    """The place of a change at the minute, made if there is none."""
    low, high = base, base + size[row]
    while low < high:
        middle = (low + high) // 2
        if time[middle] < minute:
            low = middle + 1
        else:
            high = middle
    stop = base + size[row]
    if low < stop and time[low] == minute:
        return low
    for k in range(stop, low, -1):
        time[k] = time[k - 1]
        level[k] = level[k - 1]
    time[low], level[low] = minute, level[low - 1]
    size[row] += 1
    return low


@inlined
def smooth(time: Ints, level: Ints, size: Ints, row: int, base: int, place: int) -> None:
    """Take a change that is none out of a profile."""
    if level[place] != level[place - 1]:
        return
    stop = base + size[row] - 1
    for k in range(place, stop):
        time[k] = time[k + 1]
        level[k] = level[k + 1]
    size[row] -= 1


@compiled
def use(w: Work, b: Board, row: int, start: int, end: int, load: int) -> None:
    """Use so much (negative: give back) in [start, end)."""
    if end <= start:
        return
    base = w.profile[row, 1]
    first = cut(b.time, b.level, b.size, row, base, start)
    last = cut(b.time, b.level, b.size, row, base, end)
    for k in range(first, last):
        b.level[k] += load
    smooth(b.time, b.level, b.size, row, base, last)
    smooth(b.time, b.level, b.size, row, base, first)


@compiled
def free_from(
    time: Ints, level: Ints, base: int, size: int, room: int, start: int, end: int
) -> int:
    """`start` if no use above `room` is in between, else the end of the last such."""
    low, high = base, base + size
    while low < high:
        middle = (low + high) // 2
        if time[middle] < end:
            low = middle + 1
        else:
            high = middle
    k = low - 1
    while True:
        if level[k] > room:
            return time[k + 1] if k + 1 < base + size else FAR
        if time[k] <= start:
            return start
        k -= 1


@inlined
def inside(w: Work, first: int, stop: int, start: int, length: int) -> int:
    """The first start from then on inside one of the spans; FAR: there is none."""
    if first == stop:
        return start
    low, high = first, stop
    while high - low > 1:
        middle = (low + high) // 2
        if w.span[middle, 0] <= start:
            low = middle
        else:
            high = middle
    for k in range(low, stop):
        at = max(start, w.span[k, 0])
        if at + length <= w.span[k, 1]:
            return at
    return FAR


@compiled
def obstacle(w: Work, b: Board, t: int, option: int, at: int, length: int) -> tuple[int, int, int]:
    """(resource, minute, later start to try) of a use that keeps a task from starting then;
    resource -1: there is none.
    """
    for k in range(w.task[t, LOAD_FROM], w.task[t + 1, LOAD_FROM]):
        row = w.row_of[w.option[option, 0], w.load[k, 0]]
        first, last = at + w.load[k, 1], at + length
        if w.load[k, 2] >= 0:
            last = min(last, first + w.load[k, 2])
        if last <= first:
            continue
        base, room = w.profile[row, 1], w.profile[row, 0] - w.load[k, 3]
        free = free_from(b.time, b.level, base, b.size[row], room, first, last)
        if free > first:
            return w.load[k, 0], max(first, free - 1), free - w.load[k, 1]
    return -1, 0, at


@compiled
def suits(w: Work, b: Board, t: int, option: int, start: int, length: int) -> int:
    """`start` if the station takes the task then, else a later minute to try."""
    at = inside(w, w.option[option, 1], w.option[option, 2], start, length)
    return at if at >= FAR else obstacle(w, b, t, option, at, length)[2]


@inlined
def use_all(w: Work, b: Board, t: int, sign: int) -> None:
    """Use what a placed task takes, or give it back."""
    start, end, station = b.place[t, P_START], b.place[t, P_END], b.place[t, P_STATION]
    if station < 0:
        return
    for k in range(w.task[t, LOAD_FROM], w.task[t + 1, LOAD_FROM]):
        first = start + w.load[k, 1]
        last = end
        if w.load[k, 2] >= 0:
            last = min(end, first + w.load[k, 2])
        use(w, b, w.row_of[station, w.load[k, 0]], first, last, sign * w.load[k, 3])


@compiled
def put(g: Given, w: Work, b: Board, t: int, start: int, end: int, station: int) -> None:
    """Place a task that is no batch step."""
    b.place[t, P_START], b.place[t, P_END], b.place[t, P_STATION] = start, end, station
    use_all(w, b, t, 1)
    b.total[0] += task_cost(g, w, b, t)


@compiled
def take(g: Given, w: Work, b: Board, t: int) -> None:
    """Take a task that is no batch step off the board."""
    b.total[0] -= task_cost(g, w, b, t)
    use_all(w, b, t, -1)
    b.place[t, P_START] = NOWHERE


@inlined
def put_noted(g: Given, w: Work, b: Board, t: int, start: int, end: int, station: int) -> None:
    """Place a task and write it down."""
    put(g, w, b, t, start, end, station)
    write(b, PUT, t, 0, 0, 0)


@inlined
def take_noted(g: Given, w: Work, b: Board, t: int) -> None:
    """Take a task off the board and write it down."""
    write(b, TAKE, t, b.place[t, P_START], b.place[t, P_END], b.place[t, P_STATION])
    take(g, w, b, t)


@compiled
def enter(g: Given, s: State, w: Work, b: Board, lot: int, r: int) -> None:
    """Put a lot into a run, at the run's times."""
    link(g, s, lot, r)
    node = w.lot_node[lot]
    for k in range(w.node[node, 1], w.node[node, 2]):
        t = w.node_task[k]
        b.place[t, P_START], b.place[t, P_END] = s.run[r, START], s.run[r, END]
        b.place[t, P_STATION] = w.chamber[s.run[r, CHAMBER]]
        b.total[0] += task_cost(g, w, b, t)


@compiled
def leave(g: Given, s: State, w: Work, b: Board, lot: int) -> None:
    """Take a lot out of its run."""
    node = w.lot_node[lot]
    for k in range(w.node[node, 1], w.node[node, 2]):
        t = w.node_task[k]
        b.total[0] -= task_cost(g, w, b, t)
        b.place[t, P_START] = NOWHERE
    unlink(g, s, lot)


@compiled
def resize(g: Given, s: State, w: Work, b: Board, r: int, end: int) -> None:
    """Let a run end then."""
    c, start = s.run[r, CHAMBER], s.run[r, START]
    b.total[0] += run_charge(g, c, end - start) - run_charge(g, c, s.run[r, END] - start)
    s.run[r, END] = end
    lot = s.run[r, HEAD]
    while lot >= 0:
        node = w.lot_node[lot]
        for k in range(w.node[node, 1], w.node[node, 2]):
            t = w.node_task[k]
            b.total[0] -= task_cost(g, w, b, t)
            b.place[t, P_END] = end
            b.total[0] += task_cost(g, w, b, t)
        lot = s.lot[lot, NEXT]


@inlined
def programme_before(g: Given, s: State, c: int, p: int) -> int:
    """What the chamber was used for before place p of its sequence."""
    return s.run[s.sequence[c, p - 1], PROGRAMME] if p > 0 else g.chamber[c, FIRST_PROGRAMME]


@inlined
def clean_charge(g: Given, s: State, c: int, p: int, programme: int) -> float:
    """What a run of the programme put in at place p would add to the clean-downs."""
    before = programme_before(g, s, c, p)
    charge = g.clean_charge[before, programme]
    if p < s.filled[c]:
        after = s.run[s.sequence[c, p], PROGRAMME]
        charge += g.clean_charge[programme, after] - g.clean_charge[before, after]
    return charge


@compiled
def opened(g: Given, s: State, b: Board, r: int, c: int, p: int) -> None:
    """Put a run into the sequence of a chamber."""
    b.total[0] += clean_charge(g, s, c, p, s.run[r, PROGRAMME])
    b.total[0] += run_charge(g, c, s.run[r, END] - s.run[r, START])
    put_in(s, r, c, p)
    s.numbers[N_UNDO] = 0


@compiled
def closed(g: Given, s: State, b: Board, r: int) -> None:
    """Take a run out of the sequence of its chamber."""
    c, p = s.run[r, CHAMBER], s.run[r, PLACE]
    take_out(s, r)
    s.numbers[N_UNDO] = 0
    b.total[0] -= clean_charge(g, s, c, p, s.run[r, PROGRAMME])
    b.total[0] -= run_charge(g, c, s.run[r, END] - s.run[r, START])


@compiled
def follows(g: Given, s: State, c: int, before: int, free_at: int, r: int) -> bool:
    """Whether a run may stay where it is after a run of programme `before` that ends then."""
    clean = g.clean_min[before, s.run[r, PROGRAMME]]
    start = s.run[r, START]
    if start - clean < free_at:
        return False
    if s.run[r, FIXED] != 0:
        return True
    length = s.run[r, END] - start
    return first_start(g, c, s.run[r, PROGRAMME], length, start, clean) == start


@compiled
def take_lot(g: Given, s: State, w: Work, b: Board, lot: int) -> bool:
    """Take a lot off the board, and its run if nothing is left in it; False: what is left does
    not keep the rules.
    """
    r = s.lot[lot, RUN]
    leave(g, s, w, b, lot)
    write(b, LEAVE, lot, r, 0, 0)
    if s.run[r, SIZE] == 0:
        c, p = s.run[r, CHAMBER], s.run[r, PLACE]
        closed(g, s, b, r)
        write(b, CLOSE, r, c, p, 0)
        if p == s.filled[c]:
            return True
        free_at = s.run[s.sequence[c, p - 1], END] if p > 0 else 0
        return follows(g, s, c, programme_before(g, s, c, p), free_at, s.sequence[c, p])
    refresh(g, s, r)
    end = run_end(g, s.run[r, PROGRAMME], s.run[r, START], s.run[r, LENGTH])
    if end < s.run[r, END] and may_end(s, w, b, r, end):
        write(b, RESIZE, r, s.run[r, END], 0, 0)
        resize(g, s, w, b, r, end)
    return True


@compiled
def may_end(s: State, w: Work, b: Board, r: int, end: int) -> bool:
    """Whether the steps after a run's, left in place, suit its ending then."""
    lot = s.run[r, HEAD]
    while lot >= 0:
        node = w.lot_node[lot]
        for k in range(w.node[node, 1], w.node[node, 2]):
            t = w.node_task[k]
            if w.task[t, IS_LAST] == 0 and b.place[t + 1, P_START] != NOWHERE:
                lag = b.place[t + 1, P_START] - end
                if lag < w.task[t + 1, LAG_MIN] or lag > w.task[t + 1, LAG_MAX]:
                    return False
        lot = s.lot[lot, NEXT]
    return True


@compiled
def take_node(g: Given, s: State, w: Work, b: Board, n: int) -> bool:
    """Take a node off the board; fixed work stays. False: what is left does not keep the rules."""
    t = w.node_task[w.node[n, 1]]
    if w.task[t, IS_FIXED] != 0:
        return True
    if w.node[n, 0] >= 0:
        return take_lot(g, s, w, b, w.node[n, 0])
    take_noted(g, w, b, t)
    return True


@compiled
def take_unit(g: Given, s: State, w: Work, b: Board, u: int) -> bool:
    """Take a unit off the board, once; False: what is left does not keep the rules."""
    if b.is_out[u]:
        return True
    n = b.out[len(b.out) - 1]
    b.out[n] = u
    b.out[len(b.out) - 1] = n + 1
    b.is_out[u] = True
    for node in range(w.unit[u, 1] - 1, w.unit[u, 0] - 1, -1):
        if not take_node(g, s, w, b, node):
            return False
    return True


@inlined
def lot_charge(g: Given, lot: int, start: int, end: int) -> float:
    """What a lot is charged for lateness, if what follows it follows at once."""
    cost = 0.0
    for k in range(g.lot[lot, CHARGE_FROM], g.lot[lot, CHARGE_TO]):
        late = (start if g.charge[k, AT_START] else end) - g.charge[k, DUE]
        if late > 0:
            cost += g.charge[k, ONCE] + g.charge[k, RATE] * late
    return cost


@compiled
def lot_slack(g: Given, lot: int, start: int, end: int) -> int:
    """Minutes by which it may be later and not be charged more; 0 where it is late."""
    slack = float(g.horizon - end)
    for k in range(g.lot[lot, CHARGE_FROM], g.lot[lot, CHARGE_TO]):
        slack = min(slack, g.charge[k, DUE] - (start if g.charge[k, AT_START] else end))
    return max(0, int(slack))


@compiled
def may_last(g: Given, s: State, w: Work, b: Board, r: int, end: int) -> bool:
    """Whether a run may end as late as that with everything else left in place."""
    if end > g.horizon or not may_end(s, w, b, r, end):
        return False
    c, p = s.run[r, CHAMBER], s.run[r, PLACE]
    start, programme = s.run[r, START], s.run[r, PROGRAMME]
    clean = g.clean_min[programme_before(g, s, c, p), programme]
    if first_start(g, c, programme, end - start, start, clean) != start:
        return False
    if p + 1 < s.filled[c]:
        return follows(g, s, c, programme, end, s.sequence[c, p + 1])
    return True


@inlined
def first_after(s: State, c: int, minute: int) -> int:
    """The place of the chamber's first run that starts at the minute or later."""
    low, high = 0, s.filled[c]
    while low < high:
        middle = (low + high) // 2
        if s.run[s.sequence[c, middle], START] < minute:
            low = middle + 1
        else:
            high = middle
    return low


@compiled
def first_gap(g: Given, s: State, c: int, lot: int, after: int) -> tuple[int, int, int]:
    """(start, end, place) of the earliest run of a lot between the chamber's runs; start FAR: there
    is none.
    """
    programme, length = g.lot[lot, PROGRAMME_OF], g.lot[lot, SHORTEST]
    longest = g.lot[lot, LONGEST_OF]
    for p in range(first_after(s, c, after + 1), s.filled[c] + 1):
        before = programme_before(g, s, c, p)
        clean = g.clean_min[before, programme]
        ready = max(after, clean)
        if p > 0:
            ready = max(ready, s.run[s.sequence[c, p - 1], END] + clean)
        if g.programme[programme, CLEARED] == 0:
            start = first_start(g, c, programme, length, ready, clean)
            end = start + length
        else:
            start, end = first_times(g, c, programme, length, longest, ready, clean)
        if end > g.horizon:
            return FAR, FAR, 0
        if p == s.filled[c] or follows(g, s, c, programme, end, s.sequence[c, p]):
            return start, end, p
    return FAR, FAR, 0


@compiled
def enter_cheapest(
    g: Given, s: State, w: Work, b: Board, lot: int, after: int, hold: float, blink: float
) -> int:
    """Put a lot into the run, planned or new, that adds least; returns the start, or FAR.

    Args:
        after: when the lot is ready, minutes.
        hold: by which part of the time that it has left a new run is put off.
        blink: chance to overlook a run (Christiaens and Vanden Berghe 2020).
    """
    least, length, programme = IMPOSSIBLE, g.lot[lot, SHORTEST], g.lot[lot, PROGRAMME_OF]
    into, chamber, place, at = -1, -1, 0, FAR
    for c in range(g.chamber.shape[0]):
        if not g.may[lot, c]:
            continue
        for p in range(first_after(s, c, after), s.filled[c]):
            r = s.sequence[c, p]
            if s.run[r, FIXED] != 0 or s.run[r, PROGRAMME] != programme:
                continue
            start = s.run[r, START]
            end = max(s.run[r, END], run_end(g, programme, start, length))
            cost = lot_charge(g, lot, start, end) + EARLY * start
            if cost >= least:
                break
            cost += run_charge(g, c, end - start) - run_charge(g, c, s.run[r, END] - start)
            if cost >= least or not fits(g, s, lot, r, -1) or fraction(s) < blink:
                continue
            if end - start > min(g.lot[lot, LONGEST_OF], s.run[r, LONGEST]):
                continue
            if end > s.run[r, END] and not may_last(g, s, w, b, r, end):
                continue
            least, into, at = cost, r, start
        start, end, p = first_gap(g, s, c, lot, after)
        if start >= FAR:
            continue
        if hold > 0.0:
            slack = lot_slack(g, lot, start, end)
            later, until, q = first_gap(g, s, c, lot, start + int(hold * slack))
            if later < FAR:
                start, end, p = later, until, q
        cost = lot_charge(g, lot, start, end) + EARLY * start + run_charge(g, c, end - start)
        if end - start > length:
            # As it lasts until a licensed person comes, it may as well start later.
            late = last_start(g, programme, end - length)
            shorter = lot_charge(g, lot, late, end) + EARLY * late + run_charge(g, c, end - late)
            if late > start and shorter < cost:
                start, cost = late, shorter
        cost += clean_charge(g, s, c, p, programme)
        if cost < least and fraction(s) >= blink:
            least, into, at, chamber, place = cost, -1, start, c, p
    if least == IMPOSSIBLE:
        return FAR
    if into < 0:
        if s.numbers[N_FREE] == 0:
            return FAR
        into = take_slot(s, programme)
        s.run[into, HEAD], s.run[into, SIZE] = -1, 0
        s.run[into, START], s.run[into, END] = at, run_end(g, programme, at, length)
        opened(g, s, b, into, chamber, place)
        write(b, OPEN, into, 0, 0, 0)
    end = run_end(g, programme, at, length)
    if end > s.run[into, END]:
        write(b, RESIZE, into, s.run[into, END], 0, 0)
        resize(g, s, w, b, into, end)
    enter(g, s, w, b, lot, into)
    refresh(g, s, into)
    write(b, ENTER, lot, 0, 0, 0)
    return at


@compiled
def put_earliest(g: Given, w: Work, b: Board, t: int, after: int) -> int:
    """Place a task that is no batch step as early as fits; returns the start, or FAR."""
    length = w.task[t, SHORTEST_T]
    best, station = FAR, -1
    if w.task[t, OPTION_FROM] == w.task[t + 1, OPTION_FROM]:
        best = after if after + length <= g.horizon else FAR
    for o in range(w.task[t, OPTION_FROM], w.task[t + 1, OPTION_FROM]):
        start = after
        while start + length <= g.horizon and start < best:
            at = suits(w, b, t, o, start, length)
            if at == start:
                best, station = start, w.option[o, 0]
                break
            start = at
    if best < FAR:
        put_noted(g, w, b, t, best, best + length, station)
    return best


@compiled
def stretched(g: Given, w: Work, b: Board, t: int, until: int) -> bool:
    """Make a stay last until then, if it may and there is room for it."""
    if w.node[w.task[t, NODE], 0] >= 0 or w.task[t, IS_FIXED] != 0:
        return False
    start, end, station = b.place[t, P_START], b.place[t, P_END], b.place[t, P_STATION]
    if start == NOWHERE or until - start > w.task[t, LONGEST_T]:
        return False
    take_noted(g, w, b, t)
    longer = station < 0
    for o in range(w.task[t, OPTION_FROM], w.task[t + 1, OPTION_FROM]):
        if w.option[o, 0] == station:
            longer = suits(w, b, t, o, start, until - start) == start
    put_noted(g, w, b, t, start, until if longer else end, station)
    return longer


@compiled
def place_node(g: Given, s: State, w: Work, b: Board, n: int, hold: float, blink: float) -> int:
    """Place a node; returns n + 1, the node to go back to for a longest lag, or -1: no place."""
    first, stop = w.node[n, 1], w.node[n, 2]
    after = b.not_before[n]
    for k in range(first, stop):
        t = w.node_task[k]
        after = max(after, w.task[t, EARLIEST])
        if w.task[t, POSITION] > 0:
            after = max(after, b.place[t - 1, P_END] + w.task[t, LAG_MIN])
    t = w.node_task[first]
    if w.task[t, IS_FIXED] != 0:
        start = b.place[t, P_START]
        if start < after:
            return -1
    elif w.node[n, 0] >= 0:
        start = enter_cheapest(g, s, w, b, w.node[n, 0], after, hold, blink)
    else:
        start = put_earliest(g, w, b, t, after)
    if start >= FAR:
        return -1
    back = n + 1
    for k in range(first, stop):
        t = w.node_task[k]
        if w.task[t, POSITION] == 0:
            continue
        until = start - w.task[t, LAG_MAX]
        if until <= b.place[t - 1, P_END]:
            continue
        if w.task[t, IS_FIXED] != 0 and w.task[t - 1, IS_FIXED] != 0:
            continue
        if stretched(g, w, b, t - 1, until):
            continue
        if w.task[t - 1, IS_FIXED] != 0:
            return -1
        origin = w.task[t - 1, NODE]
        b.not_before[origin] = max(b.not_before[origin], until - w.task[t - 1, SHORTEST_T])
        back = min(back, origin)
    return back


@compiled
def place_unit(g: Given, s: State, w: Work, b: Board, u: int, hold: float, blink: float) -> bool:
    """Place all nodes of a unit; False: no place was found."""
    n, stop = w.unit[u, 0], w.unit[u, 1]
    b.not_before[n:stop] = NOWHERE
    for _ in range(MOST_TRIES):
        back = place_node(g, s, w, b, n, hold, blink)
        if back < 0:
            return False
        for later in range(n, back - 1, -1):
            if not take_node(g, s, w, b, later):
                return False
        n = back
        if n == stop:
            return True
        if 4 * b.logged[0] > len(b.log):
            return False
    return False


@compiled
def undo_all(g: Given, s: State, w: Work, b: Board) -> None:
    """Take back everything that is written down."""
    for n in range(b.logged[0] - 1, -1, -1):
        kind, one, two, three, four = b.log[n]
        if kind == PUT:
            take(g, w, b, one)
        elif kind == TAKE:
            put(g, w, b, one, two, three, four)
        elif kind == ENTER:
            r = s.lot[one, RUN]
            leave(g, s, w, b, one)
            refresh(g, s, r)
        elif kind == LEAVE:
            enter(g, s, w, b, one, two)
            refresh(g, s, two)
        elif kind == OPEN:
            closed(g, s, b, one)
            give_back(s, one)
        elif kind == CLOSE:
            opened(g, s, b, one, two, three)
        else:
            resize(g, s, w, b, one, two)


@inlined
def give_back(s: State, r: int) -> None:
    """A run's slot is free again."""
    s.free[s.numbers[N_FREE]] = r
    s.numbers[N_FREE] += 1


@inlined
def last_end(w: Work, b: Board) -> int:
    """When the last route ends."""
    last = 0
    for k in range(len(w.last_task)):
        last = max(last, b.place[w.last_task[k], P_END])
    return last


@compiled
def settle_charges(g: Given, s: State, w: Work, b: Board) -> None:
    """Work out the charges of everything anew."""
    b.total[0] = 0.0
    for t in range(b.place.shape[0]):
        b.total[0] += task_cost(g, w, b, t)
    for c in range(g.chamber.shape[0]):
        for p in range(s.filled[c]):
            r = s.sequence[c, p]
            b.total[0] += run_charge(g, c, s.run[r, END] - s.run[r, START])
            before = programme_before(g, s, c, p)
            b.total[0] += g.clean_charge[before, s.run[r, PROGRAMME]]
    b.finish[0] = last_end(w, b)


@compiled
def keep_best(s: State, b: Board) -> None:
    """Copy the board, the best so far."""
    b.total[1], b.finish[1] = b.total[0], b.finish[0]
    b.best_place[:] = b.place
    b.best_run[:] = s.lot[:, RUN]


@compiled
def choose_piece(g: Given, s: State, w: Work, b: Board, among: int) -> int:
    """Of up to so many units the one that is charged most; returns any of its tasks."""
    chosen, most = -1, -1.0
    for _ in range(1 + below(s, among)):
        u = w.unit_order[0, below(s, w.unit_order.shape[1])]
        cost = 0.0
        for n in range(w.unit[u, 0], w.unit[u, 1]):
            for k in range(w.node[n, 1], w.node[n, 2]):
                cost += task_cost(g, w, b, w.node_task[k])
        if cost > most:
            chosen, most = u, cost
    first, stop = w.node[w.unit[chosen, 0], 1], w.node[w.unit[chosen, 1] - 1, 2]
    return w.node_task[first + below(s, stop - first)]


@inlined
def ready_at(w: Work, b: Board, t: int) -> int:
    """When a task may start by the steps before it, left in place."""
    ready = w.task[t, EARLIEST]
    if w.task[t, POSITION] > 0:
        ready = max(ready, b.place[t - 1, P_END] + w.task[t, LAG_MIN])
    return ready


@inlined
def uses(w: Work, b: Board, t: int, resource: int, minute: int) -> bool:
    """Whether a placed task uses any of the resource at that minute."""
    for k in range(w.task[t, LOAD_FROM], w.task[t + 1, LOAD_FROM]):
        first = b.place[t, P_START] + w.load[k, 1]
        last = b.place[t, P_END]
        if w.load[k, 2] >= 0:
            last = min(last, first + w.load[k, 2])
        if w.load[k, 0] == resource and first <= minute < last:
            return True
    return False


@compiled
def least_in_way(s: State, w: Work, b: Board, station: int, resource: int, minute: int) -> int:
    """The unit of least importance for what it takes that uses the resource then; -1: none."""
    least, most = -1, -np.inf
    for t in range(b.place.shape[0]):
        if (
            b.place[t, P_STATION] != station
            or b.place[t, P_START] > minute
            or b.place[t, P_END] <= minute
            or b.place[t, P_START] == NOWHERE
            or w.task[t, IS_FIXED] != 0
        ):
            continue
        u = w.task[t, UNIT]
        if w.unit_key[0, u] <= most or not uses(w, b, t, resource, minute):
            continue
        if least < 0 or fraction(s) >= SKIPPED:
            least, most = u, w.unit_key[0, u]
    return least


@compiled
def make_way(g: Given, s: State, w: Work, b: Board, t: int) -> bool:
    """Take off the board the task's unit and, the least important first, what keeps the one of
    its tasks that waits longest from starting earlier. (Ejection, as in F. Glover, "Ejection
    chains, reference structures and alternating path methods for traveling salesman problems",
    Discrete Applied Mathematics 65, 1996.)
    """
    u, longest, waits = w.task[t, UNIT], 0, -1
    for k in range(w.node[w.unit[u, 0], 1], w.node[w.unit[u, 1] - 1, 2]):
        other = w.node_task[k]
        if w.task[other, IS_FIXED] != 0 or w.node[w.task[other, NODE], 0] >= 0:
            continue
        wait = b.place[other, P_START] - ready_at(w, b, other)
        if wait > longest:
            longest, waits = wait, other
    if waits < 0:
        return False
    options = w.task[waits + 1, OPTION_FROM] - w.task[waits, OPTION_FROM]
    if options == 0:
        return False
    option = w.task[waits, OPTION_FROM] + below(s, options)
    ready, length = ready_at(w, b, waits), w.task[waits, SHORTEST_T]
    wish = ready if below(s, 2) == 0 else ready + below(s, longest)
    at = inside(w, w.option[option, 1], w.option[option, 2], wish, length)
    if at >= b.place[waits, P_START] or not take_unit(g, s, w, b, u):
        return False
    for _ in range(MOST_AWAY):
        resource, minute, _ = obstacle(w, b, waits, option, at, length)
        if resource < 0:
            return True
        away = least_in_way(s, w, b, w.option[option, 0], resource, minute)
        if away < 0 or not take_unit(g, s, w, b, away):
            return False
    return False


@compiled
def clear_around(g: Given, s: State, w: Work, b: Board, t: int) -> bool:
    """Take off the board the task's unit and some that are in its way: at its station between
    when it could start and when it ends.
    """
    most = 1 + below(s, MOST_OUT)
    ready = ready_at(w, b, t)
    end, station = b.place[t, P_END], b.place[t, P_STATION]
    if w.node[w.task[t, NODE], 0] >= 0:
        c = below(s, g.chamber.shape[0])
        if g.may[w.node[w.task[t, NODE], 0], c]:
            station = w.chamber[c]
        most = MOST_RUN_OUT
    ready -= below(s, 1 + w.task[t, SHORTEST_T])
    if not take_unit(g, s, w, b, w.task[t, UNIT]):
        return False
    if station < 0:
        return True
    tasks = b.place.shape[0]
    other = below(s, tasks)
    runs = 1 + below(s, MOST_RUNS)
    for _ in range(tasks):
        other = other + 1 if other + 1 < tasks else 0
        if b.place[other, P_STATION] != station or b.place[other, P_START] >= end:
            continue
        if b.place[other, P_START] == NOWHERE or b.place[other, P_END] <= ready:
            continue
        if w.task[other, IS_FIXED] != 0:
            continue
        lot = w.node[w.task[other, NODE], 0]
        if lot >= 0:
            if not clear_run(g, s, w, b, s.lot[lot, RUN], most):
                return False
            runs -= 1
            if runs == 0:
                return True
        elif not take_unit(g, s, w, b, w.task[other, UNIT]):
            return False
        if b.out[len(b.out) - 1] >= most:
            return True
    return True


@compiled
def clear_run(g: Given, s: State, w: Work, b: Board, r: int, most: int) -> bool:
    """Take off the board the units of a run, so many altogether."""
    lot = s.run[r, HEAD]
    while lot >= 0 and b.out[len(b.out) - 1] < most:
        following = s.lot[lot, NEXT]
        t = w.node_task[w.node[w.lot_node[lot], 1]]
        if not take_unit(g, s, w, b, w.task[t, UNIT]):
            return False
        lot = following
    return True


@compiled
def clear_runs(g: Given, s: State, w: Work, b: Board) -> bool:
    """Take off the board the units of a run, and of a few near it in its chamber or programme."""
    r = s.lot[below(s, g.lot.shape[0]), RUN]
    if s.run[r, FIXED] != 0:
        return True
    start, programme, own = s.run[r, START], s.run[r, PROGRAMME], s.run[r, CHAMBER]
    if not clear_run(g, s, w, b, r, MOST_RUN_OUT):
        return False
    for _ in range(below(s, MOST_RUNS)):
        c = own if below(s, 2) == 0 else below(s, g.chamber.shape[0])
        if s.filled[c] == 0:
            continue
        p = first_after(s, c, start) + below(s, 3) - 1
        other = s.sequence[c, min(max(p, 0), s.filled[c] - 1)]
        if s.run[other, FIXED] != 0 or (c != own and s.run[other, PROGRAMME] != programme):
            continue
        if not clear_run(g, s, w, b, other, MOST_RUN_OUT):
            return False
    return True


@compiled
def clear_like(g: Given, s: State, w: Work, b: Board) -> bool:
    """Take off the board units that are next to each other in one of the orders."""
    key = below(s, w.unit_order.shape[0])
    n = w.unit_order.shape[1]
    at = below(s, n)
    reach = 1 + below(s, 3 * MOST_OUT)
    for _ in range(1 + below(s, MOST_OUT)):
        k = at + below(s, reach)
        if k < n and not take_unit(g, s, w, b, w.unit_order[key, k]):
            return False
    return True


@compiled
def sort_out(s: State, w: Work, b: Board) -> None:
    """Put the units that are off the board in an order to place them in."""
    n = b.out[len(b.out) - 1]
    key = below(s, w.unit_key.shape[0] + 1)
    for k in range(1, n):
        u = b.out[k]
        if key == w.unit_key.shape[0]:
            j = below(s, k + 1)
            b.out[k], b.out[j] = b.out[j], u
            continue
        j = k
        while j > 0 and w.unit_key[key, b.out[j - 1]] > w.unit_key[key, u]:
            b.out[j] = b.out[j - 1]
            j -= 1
        b.out[j] = u


@inlined
def bring_forward(b: Board, u: int) -> None:
    """Let a unit that is off the board be placed first."""
    k = 0
    while b.out[k] != u:
        k += 1
    for j in range(k, 0, -1):
        b.out[j] = b.out[j - 1]
    b.out[0] = u


@compiled
def change(g: Given, s: State, w: Work, b: Board) -> bool:
    """Take some units off the board and place them again; False: that did not work out."""
    kind, first = fraction(s), -1
    if kind < AROUND:
        cleared = clear_around(g, s, w, b, choose_piece(g, s, w, b, FEW))
    elif kind < AROUND + MAKE_WAY:
        t = choose_piece(g, s, w, b, MANY)
        first = w.task[t, UNIT]
        cleared = make_way(g, s, w, b, t)
    elif kind < AROUND + MAKE_WAY + WHOLE_RUNS and g.lot.shape[0] > 0:
        cleared = clear_runs(g, s, w, b)
    else:
        cleared = clear_like(g, s, w, b)
    if not cleared:
        return False
    sort_out(s, w, b)
    if first >= 0:
        bring_forward(b, first)
    holding = fraction(s) < HOLDING
    for k in range(b.out[len(b.out) - 1]):
        hold = fraction(s) if holding else 0.0
        if not place_unit(g, s, w, b, b.out[k], hold, BLINK):
            return False
    return True


@compiled
def one_move(g: Given, s: State, w: Work, b: Board) -> float:
    """Make a move; returns the difference in charges, or IMPOSSIBLE with the move half made."""
    b.logged[0] = 0
    total = b.total[0] + g.finish * b.finish[0]
    possible = change(g, s, w, b)
    for k in range(b.out[len(b.out) - 1]):
        b.is_out[b.out[k]] = False
    b.out[len(b.out) - 1] = 0
    if not possible:
        return IMPOSSIBLE
    b.finish[0] = last_end(w, b)
    return b.total[0] + g.finish * b.finish[0] - total


@compiled
def search(g: Given, s: State, w: Work, b: Board, tries: int, heat: float) -> int:
    """Try so many moves at one temperature; returns how many were accepted."""
    accepted = 0
    for _ in range(tries):
        total, finish = b.total[0], b.finish[0]
        worse = one_move(g, s, w, b)
        if worse <= 0.0 or (
            worse != IMPOSSIBLE and heat > 0.0 and fraction(s) < np.exp(-worse / heat)
        ):
            accepted += 1
            free_closed(s, b)
            best = b.total[1] + g.finish * b.finish[1]
            if b.total[0] + g.finish * b.finish[0] < best - 1e-6:
                keep_best(s, b)
        else:
            undo_all(g, s, w, b)
            b.total[0], b.finish[0] = total, finish
    return accepted


@compiled
def sample(g: Given, s: State, w: Work, b: Board, tries: int, found: Floats) -> int:
    """Fill `found` with how much moves that make it worse would cost; returns how many."""
    n = 0
    for _ in range(tries):
        total, finish = b.total[0], b.finish[0]
        worse = one_move(g, s, w, b)
        undo_all(g, s, w, b)
        b.total[0], b.finish[0] = total, finish
        if worse != IMPOSSIBLE and worse > 0.0 and n < len(found):
            found[n] = worse
            n += 1
    return n


@compiled
def rebuild(g: Given, s: State, w: Work, b: Board, key: int, hold: float) -> bool:
    """Take everything off the board that is not fixed and place it again in one of the orders;
    False: something found no place. What was on the board may have broken rules.
    """
    order = w.unit_order[key]
    for k in range(len(order)):
        u = order[k]
        for n in range(w.unit[u, 1] - 1, w.unit[u, 0] - 1, -1):
            if b.place[w.node_task[w.node[n, 1]], P_START] != NOWHERE:
                take_node(g, s, w, b, n)
        free_closed(s, b)
    for k in range(len(order)):
        placed = place_unit(g, s, w, b, order[k], hold, 0.0)
        free_closed(s, b)
        if not placed:
            return False
    settle_charges(g, s, w, b)
    keep_best(s, b)
    return True


@inlined
def free_closed(s: State, b: Board) -> None:
    """Let go of what is written down: slots of runs closed since may be used again."""
    for n in range(b.logged[0]):
        if b.log[n, 0] == CLOSE:
            give_back(s, b.log[n, 1])
    b.logged[0] = 0
