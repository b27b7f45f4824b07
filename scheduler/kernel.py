"""The compiled part of the local search over chamber runs; see `scheduler.anneal`.

Plain loops over arrays, compiled by numba. A run is a slot with a list of lots; the runs of a
chamber stand in a sequence, and each starts as early as its lots, the run before, the clean-down
and the calendars allow. A move changes lists and sequences through few primitive operations that
are written down, so that a move that is not accepted is taken back by undoing them in reverse.
"""

from collections.abc import Callable
from typing import NamedTuple, TypeVar, cast

import numba
import numpy as np
from numpy.typing import NDArray

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

F = TypeVar("F", bound=Callable[..., object])
compiled = cast(Callable[[F], F], numba.njit(cache=True, nogil=True))
# A call passes every array of Given and State, which takes longer than what most of these do: put
# where they are called, they are several times as fast, for a few seconds more of compiling.
inlined = cast(Callable[[F], F], numba.njit(inline="always"))

FAR = 10**15
WATT_MINUTES_IN_A_KWH = 60_000
IMPOSSIBLE = np.inf


class Given(NamedTuple):
    """What does not change. L lots, C chambers, P programmes (the last: clean), G mixing groups.

    Columns are named below. Few arrays with many columns, because every call passes them all.
    """

    lot: Ints  # [L, 15]
    charge: Floats  # [K, 4] what lots are charged for
    may: Bools  # [L, C]
    groups: Ints  # mixing groups of the lots, one lot after another
    apart: Bools  # [G, G]
    chamber: Ints  # [C, 6]
    window: Ints  # [W, 2] minutes, one chamber after another
    licence: Ints  # [N, 2] minutes, spans of the starts of programmes, and of licensed people
    programme: Ints  # [P, 8]
    order: Ints  # [L] lots of a programme next to each other, by urgency
    clean_min: Ints  # [P, P]
    clean_charge: Floats  # [P, P]
    running: float  # charge for each minute that a run lasts
    finish: float  # charge for each minute up to the last end
    energy: float  # charge for each kilowatt-hour
    other_finish: int  # when everything outside the chambers ends at the latest
    horizon: int
    tolerance: int  # minutes by which a start may move and count as unmoved


# Columns of Given.lot; times in minutes. The last chamber is -1 where there is nothing to charge,
# -2 where it is gone. Charges and mixing groups are slices.
(
    PROGRAMME_OF,
    LITRES_OF,
    RAIL_OF,
    SHORTEST,
    LONGEST_OF,
    READY_OF,
    LATEST_OF,
    BEFORE_CHAMBER,
    BEFORE_START,
    CHANGE,
    ORDER_PLACE,
    CHARGE_FROM,
    CHARGE_TO,
    GROUP_FROM,
    GROUP_TO,
) = range(15)
# Given.charge: for each minute after due, once if after due at all, and what due is held against.
DUE, RATE, ONCE, AT_START = range(4)
# Given.chamber
MOST_LITRES, MOST_RAIL, FIRST_PROGRAMME, WINDOW_FROM, WINDOW_TO, POWER = range(6)
# Given.programme: slices of the order, and of the licence: its starts, if LICENSED; and its ends,
# if CLEARED.
LICENSED, ORDER_FROM, ORDER_TO, START_FROM, START_TO, CLEARED, END_FROM, END_TO = range(8)


class State(NamedTuple):
    """What a search changes. R slots for runs."""

    lot: Ints  # [L, 3]
    run: Ints  # [R, 15]
    charge: Floats  # [R, 2]
    unfit: Ints  # [R, C] lots that may not be in the chamber
    groups: Ints  # [R, G] lots of the group
    sequence: Ints  # [C, R] runs in order
    filled: Ints  # [C] how many those are
    free: Ints  # [R] slots not in use
    numbers: Ints  # [3]
    total: Floats  # [2] now, and the best found
    random: NDArray[np.uint64]  # [1]
    undo: Ints  # [U, 4]
    old: Floats  # [U, 2] charges before
    best_run: Ints  # [L] runs of the best found
    best_place: Ints  # [R, 2] chamber and start of the best found


# State.lot: its run, and the lots beside it in the run's list; -1: none.
RUN, NEXT, BEFORE = range(3)
# State.run: lots, their sums and bounds, place and times. CHAMBER -1: not in use.
(
    HEAD,
    SIZE,
    LITRES,
    RAIL,
    LENGTH,
    LONGEST,
    READY,
    LATEST,
    PROGRAMME,
    CHAMBER,
    PLACE,
    START,
    END,
    TOUCHED,
    FIXED,
) = range(15)
# State.charge: lateness, changes and running time; and the clean-down before the run.
COST, CLEAN = range(2)
# State.numbers
N_FREE, N_UNDO, N_MOVE, NUMBERS = 0, 1, 2, 3
OP_LOT, OP_OUT, OP_IN, OP_TIMES, OP_TAKE, OP_TAILS = 0, 1, 2, 3, 4, 5


@inlined
def random_bits(s: State) -> int:
    """The next of Marsaglia's xorshift64* sequence (Vigna 2016), upper 53 bits."""
    x = s.random[0]
    x ^= x >> np.uint64(12)
    x ^= x << np.uint64(25)
    x ^= x >> np.uint64(27)
    s.random[0] = x
    return int((x * np.uint64(2685821657736338717)) >> np.uint64(11))


@inlined
def below(s: State, n: int) -> int:
    """A whole number in [0, n)."""
    return random_bits(s) % n


@inlined
def fraction(s: State) -> float:
    """A number in [0, 1)."""
    return random_bits(s) / 9007199254740992.0


@inlined
def run_charge(g: Given, c: int, minutes: int) -> float:
    """What a run of so many minutes in a chamber is charged, whatever is in it."""
    charge = g.running * minutes
    if g.energy > 0.0:
        watt_minutes = g.chamber[c, POWER] * minutes
        charge += g.energy * -(-watt_minutes // WATT_MINUTES_IN_A_KWH)
    return charge


@inlined
def lots_cost(g: Given, s: State, r: int, start: int, end: int) -> float:
    """What the run's lots are charged for, with the run's time."""
    chamber = s.run[r, CHAMBER]
    cost = run_charge(g, chamber, end - start)
    lot = s.run[r, HEAD]
    while lot >= 0:
        for k in range(g.lot[lot, CHARGE_FROM], g.lot[lot, CHARGE_TO]):
            late = (start if g.charge[k, AT_START] else end) - g.charge[k, DUE]
            if late > 0:
                cost += g.charge[k, ONCE] + g.charge[k, RATE] * late
        if g.lot[lot, BEFORE_CHAMBER] != -1 and (
            g.lot[lot, BEFORE_CHAMBER] != chamber
            or abs(start - g.lot[lot, BEFORE_START]) > g.tolerance
        ):
            cost += g.lot[lot, CHANGE]
        lot = s.lot[lot, NEXT]
    return cost


@inlined
def first_in(spans: Ints, low: int, high: int, minute: int) -> int:
    """The first minute, from this one on, inside a span of rows [low, high); FAR: there is none."""
    a, b = low, high
    while a < b:
        middle = (a + b) // 2
        if spans[middle, 1] > minute:
            b = middle
        else:
            a = middle + 1
    return max(minute, spans[a, 0]) if a < high else FAR


@inlined
def last_in(spans: Ints, low: int, high: int, minute: int) -> int:
    """The last minute, up to this one, inside a span of rows [low, high); -FAR: there is none."""
    a, b = low, high
    while a < b:
        middle = (a + b) // 2
        if spans[middle, 0] > minute:
            b = middle
        else:
            a = middle + 1
    return min(minute, spans[a - 1, 1] - 1) if a > low else -FAR


@inlined
def first_start(g: Given, c: int, programme: int, length: int, after: int, clean: int) -> int:
    """The first start from `after` on with clean-down and run inside one window of the chamber,
    at a moment when the licence allows it; FAR when there is none.
    """
    start = max(after, clean)
    low, high = g.chamber[c, WINDOW_FROM], g.chamber[c, WINDOW_TO]
    k = low
    if high - low > 4:
        first = start - clean
        a, b = low, high
        while b - a > 1:
            middle = (a + b) // 2
            if g.window[middle, 0] <= first:
                a = middle
            else:
                b = middle
        k = a
    licensed = g.programme[programme, LICENSED] != 0
    while k < high:
        start = max(start, g.window[k, 0] + clean)
        if start + length > g.window[k, 1]:
            k += 1
            continue
        if not licensed:
            return start
        low_start, high_start = g.programme[programme, START_FROM], g.programme[programme, START_TO]
        found = first_in(g.licence, low_start, high_start, start)
        if found == FAR:
            return FAR
        if found + length <= g.window[k, 1]:
            return found
        start = found
        k += 1
    return FAR


@inlined
def run_end(g: Given, programme: int, start: int, length: int) -> int:
    """When a run that starts then and lasts so long is over: where a licensed person has to be
    there at its end, once one is. FAR: never.
    """
    if g.programme[programme, CLEARED] == 0:
        return start + length
    low, high = g.programme[programme, END_FROM], g.programme[programme, END_TO]
    return first_in(g.licence, low, high, start + length)


@inlined
def last_start(g: Given, programme: int, before: int) -> int:
    """The last minute up to this one at which the licence lets a run start; -FAR: there is none."""
    if g.programme[programme, LICENSED] == 0:
        return before
    low, high = g.programme[programme, START_FROM], g.programme[programme, START_TO]
    return last_in(g.licence, low, high, before)


@compiled
def first_times(
    g: Given, c: int, programme: int, length: int, longest: int, after: int, clean: int
) -> tuple[int, int]:
    """(start, end) of the first run from `after` on with clean-down and run inside one window of
    the chamber and the licence kept at all its moments. Both FAR where there is none.
    """
    start = after
    while True:
        start = first_start(g, c, programme, length, start, clean)
        end = FAR if start == FAR else run_end(g, programme, start, length)
        if end == FAR:
            return FAR, FAR
        if end - start > longest:
            start = end - longest
            continue
        closes = FAR
        for k in range(g.chamber[c, WINDOW_FROM], g.chamber[c, WINDOW_TO]):
            if start - clean < g.window[k, 1]:
                closes = g.window[k, 1]
                break
        if end <= closes:
            return start, end
        start = closes + clean


@compiled
def cleared_times(g: Given, s: State, r: int, c: int, after: int, clean: int) -> tuple[int, int]:
    """(start, end) of a run that ends while a licensed person is there, from `after` on: the first
    end there is, and of the starts that have it the first or the last, whichever costs less. Both
    FAR where there is none.
    """
    programme, shortest, longest = s.run[r, PROGRAMME], s.run[r, LENGTH], s.run[r, LONGEST]
    start, end = first_times(g, c, programme, shortest, longest, after, clean)
    if end < FAR:
        last = last_start(g, programme, min(end - shortest, s.run[r, LATEST]))
        if last > start and lots_cost(g, s, r, last, end) < lots_cost(g, s, r, start, end):
            start = last
    return start, end


@inlined
def note(s: State, kind: int, a: int, b: int, c: int) -> None:
    """Write down an operation for undoing it."""
    n = s.numbers[N_UNDO]
    s.undo[n, 0], s.undo[n, 1], s.undo[n, 2], s.undo[n, 3] = kind, a, b, c
    s.numbers[N_UNDO] = n + 1


@compiled
def refresh(g: Given, s: State, r: int) -> None:
    """Work out anew what a run's lots ask of it together."""
    length, longest, ready, latest = 0, FAR, 0, FAR
    lot = s.run[r, HEAD]
    while lot >= 0:
        length = max(length, g.lot[lot, SHORTEST])
        longest = min(longest, g.lot[lot, LONGEST_OF])
        ready = max(ready, g.lot[lot, READY_OF])
        latest = min(latest, g.lot[lot, LATEST_OF])
        lot = s.lot[lot, NEXT]
    s.run[r, LENGTH], s.run[r, LONGEST], s.run[r, READY], s.run[r, LATEST] = (
        length,
        longest,
        ready,
        latest,
    )


@inlined
def link(g: Given, s: State, lot: int, r: int) -> None:
    """Put a lot that is in no run into one, its slot's sums kept."""
    first = s.run[r, HEAD]
    s.lot[lot, RUN], s.lot[lot, NEXT], s.lot[lot, BEFORE] = r, first, -1
    if first >= 0:
        s.lot[first, BEFORE] = lot
    s.run[r, HEAD] = lot
    s.run[r, SIZE] += 1
    s.run[r, LITRES] += g.lot[lot, LITRES_OF]
    s.run[r, RAIL] += g.lot[lot, RAIL_OF]
    for c in range(g.chamber.shape[0]):
        if not g.may[lot, c]:
            s.unfit[r, c] += 1
    for k in range(g.lot[lot, GROUP_FROM], g.lot[lot, GROUP_TO]):
        s.groups[r, g.groups[k]] += 1


@inlined
def unlink(g: Given, s: State, lot: int) -> None:
    """Take a lot out of its run, its slot's sums kept."""
    r = s.lot[lot, RUN]
    after, before = s.lot[lot, NEXT], s.lot[lot, BEFORE]
    if before >= 0:
        s.lot[before, NEXT] = after
    else:
        s.run[r, HEAD] = after
    if after >= 0:
        s.lot[after, BEFORE] = before
    s.run[r, SIZE] -= 1
    s.run[r, LITRES] -= g.lot[lot, LITRES_OF]
    s.run[r, RAIL] -= g.lot[lot, RAIL_OF]
    for c in range(g.chamber.shape[0]):
        if not g.may[lot, c]:
            s.unfit[r, c] -= 1
    for k in range(g.lot[lot, GROUP_FROM], g.lot[lot, GROUP_TO]):
        s.groups[r, g.groups[k]] -= 1


@inlined
def move_lot(g: Given, s: State, lot: int, r: int) -> None:
    """From its run to another; both must be refreshed after."""
    note(s, OP_LOT, lot, s.lot[lot, RUN], 0)
    s.run[s.lot[lot, RUN], TOUCHED] = s.numbers[N_MOVE]
    s.run[r, TOUCHED] = s.numbers[N_MOVE]
    unlink(g, s, lot)
    link(g, s, lot, r)


@inlined
def take_out(s: State, r: int) -> None:
    """Take a run out of its chamber's sequence."""
    c, p = s.run[r, CHAMBER], s.run[r, PLACE]
    note(s, OP_OUT, r, c, p)
    _close(s, c, p)
    s.run[r, CHAMBER] = -1


@inlined
def put_in(s: State, r: int, c: int, p: int) -> None:
    """Put a run into a chamber's sequence."""
    note(s, OP_IN, r, c, p)
    _open(s, r, c, p)


@inlined
def _close(s: State, c: int, p: int) -> None:
    for k in range(p, s.filled[c] - 1):
        other = s.sequence[c, k + 1]
        s.sequence[c, k] = other
        s.run[other, PLACE] = k
    s.filled[c] -= 1


@inlined
def _open(s: State, r: int, c: int, p: int) -> None:
    for k in range(s.filled[c], p, -1):
        other = s.sequence[c, k - 1]
        s.sequence[c, k] = other
        s.run[other, PLACE] = k
    s.sequence[c, p] = r
    s.filled[c] += 1
    s.run[r, CHAMBER], s.run[r, PLACE] = c, p


@inlined
def swap_tails(s: State, r: int, d: int, q: int) -> None:
    """Exchange a run and all after it for what another chamber has from place q on."""
    c, p = s.run[r, CHAMBER], s.run[r, PLACE]
    note(s, OP_TAILS, r, c, p)
    _swap(s, c, p, d, q)


@inlined
def _swap(s: State, c: int, p: int, d: int, q: int) -> None:
    ours, theirs = s.filled[c] - p, s.filled[d] - q
    for k in range(max(ours, theirs)):
        r, t = s.sequence[c, p + k], s.sequence[d, q + k]
        if k < ours:
            s.sequence[d, q + k] = r
            s.run[r, CHAMBER], s.run[r, PLACE] = d, q + k
        if k < theirs:
            s.sequence[c, p + k] = t
            s.run[t, CHAMBER], s.run[t, PLACE] = c, p + k
    s.filled[c], s.filled[d] = p + theirs, q + ours


@inlined
def take_slot(s: State, programme: int) -> int:
    """A slot for a new run of a programme."""
    n = s.numbers[N_FREE] - 1
    r = s.free[n]
    s.numbers[N_FREE] = n
    s.run[r, PROGRAMME] = programme
    note(s, OP_TAKE, r, 0, 0)
    return r


@inlined
def set_times(s: State, r: int, start: int, end: int, cost: float, clean: float) -> float:
    """Set a run's times and charges, written down; returns the difference in charges."""
    n = s.numbers[N_UNDO]
    s.old[n, 0], s.old[n, 1] = s.charge[r, COST], s.charge[r, CLEAN]
    note(s, OP_TIMES, r, s.run[r, START], s.run[r, END])
    change = cost + clean - s.charge[r, COST] - s.charge[r, CLEAN]
    s.run[r, START], s.run[r, END], s.charge[r, COST], s.charge[r, CLEAN] = start, end, cost, clean
    return change


@compiled
def undo(g: Given, s: State) -> None:
    """Take back everything since the move began."""
    for n in range(s.numbers[N_UNDO] - 1, -1, -1):
        kind, a, b, c = s.undo[n, 0], s.undo[n, 1], s.undo[n, 2], s.undo[n, 3]
        if kind == OP_TIMES:
            s.run[a, START], s.run[a, END] = b, c
            s.charge[a, COST], s.charge[a, CLEAN] = s.old[n, 0], s.old[n, 1]
        elif kind == OP_LOT:
            other = s.lot[a, RUN]
            unlink(g, s, a)
            link(g, s, a, b)
            refresh(g, s, other)
            refresh(g, s, b)
        elif kind == OP_OUT:
            _open(s, a, b, c)
        elif kind == OP_IN:
            _close(s, b, c)
            s.run[a, CHAMBER] = -1
        elif kind == OP_TAILS:
            _swap(s, b, c, s.run[a, CHAMBER], s.run[a, PLACE])
        else:
            s.free[s.numbers[N_FREE]] = a
            s.numbers[N_FREE] += 1
    s.numbers[N_UNDO] = 0


@compiled
def retime(g: Given, s: State, c: int, p: int, until: int) -> float:
    """Set the times of the chamber's runs from place p on; returns the difference in charges, or
    IMPOSSIBLE. Stops where nothing changes any more, but not before place `until`.
    """
    change = 0.0
    move = s.numbers[N_MOVE]
    free_at, programme, after_fixed = 0, g.chamber[c, FIRST_PROGRAMME], False
    if p > 0:
        r = s.sequence[c, p - 1]
        free_at, programme, after_fixed = s.run[r, END], s.run[r, PROGRAMME], s.run[r, FIXED]
    for k in range(p, s.filled[c]):
        r = s.sequence[c, k]
        clean = g.clean_min[programme, s.run[r, PROGRAMME]]
        charge = g.clean_charge[programme, s.run[r, PROGRAMME]]
        programme = s.run[r, PROGRAMME]
        if s.run[r, FIXED]:
            if k > 0 and not after_fixed and free_at + clean > s.run[r, START]:
                return IMPOSSIBLE
            if charge != s.charge[r, CLEAN]:
                change += set_times(s, r, s.run[r, START], s.run[r, END], s.charge[r, COST], charge)
            elif k >= until:
                break
        else:
            after = max(s.run[r, READY], free_at + clean)
            if g.programme[programme, CLEARED] != 0:
                start, end = cleared_times(g, s, r, c, after, clean)
            else:
                start = first_start(g, c, programme, s.run[r, LENGTH], after, clean)
                end = start + s.run[r, LENGTH]
            if start > s.run[r, LATEST] or end > g.horizon:
                return IMPOSSIBLE
            same = start == s.run[r, START] and end == s.run[r, END]
            if same and s.run[r, TOUCHED] != move:
                if charge != s.charge[r, CLEAN]:
                    change += set_times(s, r, start, end, s.charge[r, COST], charge)
                elif k >= until:
                    break
            else:
                cost = lots_cost(g, s, r, start, end)
                change += set_times(s, r, start, end, cost, charge)
        free_at, after_fixed = s.run[r, END], s.run[r, FIXED]
    return change


@inlined
def retime_two(g: Given, s: State, c: int, p: int, d: int, q: int) -> float:
    """Set the times after changes at two places, in one chamber or two: at each, a run that was
    touched or the first one with another run before it now. As `retime`.
    """
    if c == d:
        return retime(g, s, c, min(p, q), max(p, q))
    change = retime(g, s, c, p, p)
    if change == IMPOSSIBLE:
        return IMPOSSIBLE
    return change + retime(g, s, d, q, q)


@inlined
def finish_charge(g: Given, s: State) -> float:
    """The charge for the end of the last work."""
    if g.finish == 0.0:
        return 0.0
    last = g.other_finish
    for c in range(s.filled.shape[0]):
        if s.filled[c] > 0:
            last = max(last, s.run[s.sequence[c, s.filled[c] - 1], END])
    return g.finish * last


@inlined
def fits(g: Given, s: State, lot: int, r: int, out: int) -> bool:
    """Whether a lot may enter a run (`out`: a lot that leaves it at once, or -1)."""
    c = s.run[r, CHAMBER]
    litres, rail = s.run[r, LITRES] + g.lot[lot, LITRES_OF], s.run[r, RAIL] + g.lot[lot, RAIL_OF]
    if out >= 0:
        litres -= g.lot[out, LITRES_OF]
        rail -= g.lot[out, RAIL_OF]
    if litres > g.chamber[c, MOST_LITRES] or rail > g.chamber[c, MOST_RAIL] or not g.may[lot, c]:
        return False
    if out < 0:
        if max(s.run[r, LENGTH], g.lot[lot, SHORTEST]) > min(
            s.run[r, LONGEST], g.lot[lot, LONGEST_OF]
        ):
            return False
    else:
        length, longest = g.lot[lot, SHORTEST], g.lot[lot, LONGEST_OF]
        other = s.run[r, HEAD]
        while other >= 0:
            if other != out:
                length = max(length, g.lot[other, SHORTEST])
                longest = min(longest, g.lot[other, LONGEST_OF])
            other = s.lot[other, NEXT]
        if length > longest:
            return False
    return not mixes_badly(g, s, lot, r, out)


@inlined
def mixes_badly(g: Given, s: State, lot: int, r: int, out: int) -> bool:
    """Whether a lot's mixing groups forbid it to be with those in the run, but `out`."""
    for k in range(g.lot[lot, GROUP_FROM], g.lot[lot, GROUP_TO]):
        own = g.groups[k]
        for other in range(g.apart.shape[0]):
            if not g.apart[own, other]:
                continue
            n = s.groups[r, other]
            if out >= 0:
                for m in range(g.lot[out, GROUP_FROM], g.lot[out, GROUP_TO]):
                    if g.groups[m] == other:
                        n -= 1
            if n > 0:
                return True
    return False


@inlined
def like_lot(g: Given, s: State, lot: int) -> int:
    """Another lot of the programme, mostly one of like urgency; -1: there is none."""
    programme = g.lot[lot, PROGRAMME_OF]
    low, high = g.programme[programme, ORDER_FROM], g.programme[programme, ORDER_TO]
    if high - low < 2:
        return -1
    if below(s, 3) == 0:
        other = g.order[low + below(s, high - low)]
    else:
        reach = 1 + below(s, 24)
        place = g.lot[lot, ORDER_PLACE] + (reach if below(s, 2) == 0 else -reach)
        if place < low or place >= high:
            return -1
        other = g.order[place]
    return -1 if other == lot else other


@inlined
def some_place(g: Given, s: State, c: int, near: int) -> int:
    """A place in the chamber's sequence: near a moment, or anywhere."""
    n = s.filled[c]
    if n == 0:
        return 0
    if below(s, 4) == 0:
        return below(s, n + 1)
    a, b = 0, n
    while a < b:
        middle = (a + b) // 2
        if s.run[s.sequence[c, middle], START] < near:
            a = middle + 1
        else:
            b = middle
    shift = 0
    while below(s, 2) == 0 and shift < n:
        shift += 1
    place = a + shift if below(s, 2) == 0 else a - shift
    return min(max(place, 0), n)


@compiled
def relocate(g: Given, s: State) -> float:
    """A lot into another run of its programme."""
    lot = below(s, g.lot.shape[0])
    other = like_lot(g, s, lot)
    if other < 0:
        return IMPOSSIBLE
    r, t = s.lot[lot, RUN], s.lot[other, RUN]
    if r == t or s.run[r, FIXED] or s.run[t, FIXED] or not fits(g, s, lot, t, -1):
        return IMPOSSIBLE
    move_lot(g, s, lot, t)
    refresh(g, s, t)
    return settle_two(g, s, r, t)


@compiled
def settle_two(g: Given, s: State, r: int, t: int) -> float:
    """Retime around two runs that changed; either may be empty now."""
    change = 0.0
    if s.run[r, SIZE] > 0:
        refresh(g, s, r)
    c, p = s.run[r, CHAMBER], s.run[r, PLACE]
    d, q = s.run[t, CHAMBER], s.run[t, PLACE]
    if s.run[r, SIZE] == 0:
        change += set_times(s, r, 0, 0, 0.0, 0.0)
        take_out(s, r)
        if d == c and q > p:
            q -= 1
    return change + retime_two(g, s, c, p, d, q)


@compiled
def exchange(g: Given, s: State) -> float:
    """Two lots of a programme change runs."""
    lot = below(s, g.lot.shape[0])
    other = like_lot(g, s, lot)
    if other < 0:
        return IMPOSSIBLE
    r, t = s.lot[lot, RUN], s.lot[other, RUN]
    if r == t or s.run[r, FIXED] or s.run[t, FIXED]:
        return IMPOSSIBLE
    if not fits(g, s, lot, t, other) or not fits(g, s, other, r, lot):
        return IMPOSSIBLE
    move_lot(g, s, lot, t)
    move_lot(g, s, other, r)
    refresh(g, s, t)
    return settle_two(g, s, r, t)


@inlined
def may_be_in(s: State, g: Given, r: int, c: int) -> bool:
    """Whether the run as it is may be in the chamber."""
    return (
        s.unfit[r, c] == 0
        and s.run[r, LITRES] <= g.chamber[c, MOST_LITRES]
        and s.run[r, RAIL] <= g.chamber[c, MOST_RAIL]
    )


@compiled
def open_run(g: Given, s: State) -> float:
    """A lot, and by chance others of its run, into a run of their own."""
    lot = below(s, g.lot.shape[0])
    r = s.lot[lot, RUN]
    c = below(s, g.chamber.shape[0])
    if s.run[r, FIXED] or s.run[r, SIZE] < 2 or not g.may[lot, c] or s.numbers[N_FREE] == 0:
        return IMPOSSIBLE
    if (
        g.lot[lot, LITRES_OF] > g.chamber[c, MOST_LITRES]
        or g.lot[lot, RAIL_OF] > g.chamber[c, MOST_RAIL]
    ):
        return IMPOSSIBLE
    old_c, old_p = s.run[r, CHAMBER], s.run[r, PLACE]
    near = s.run[r, START]
    t = take_slot(s, s.run[r, PROGRAMME])
    move_lot(g, s, lot, t)
    kind = below(s, 4)
    if kind > 0:
        _split(g, s, r, t, c, lot, kind)
    refresh(g, s, t)
    refresh(g, s, r)
    p = some_place(g, s, c, near)
    put_in(s, t, c, p)
    if c == old_c and p <= old_p:
        old_p += 1
    return retime_two(g, s, old_c, old_p, c, p)


@compiled
def _split(g: Given, s: State, r: int, t: int, c: int, lot: int, kind: int) -> None:
    """Move to run t of chamber c what of run r is no earlier (1: ready, 2: urgent) than the lot,
    or no longer (3).
    """
    other = s.run[r, HEAD]
    while other >= 0 and s.run[r, SIZE] > 1:
        following = s.lot[other, NEXT]
        goes = False
        if kind == 1:
            goes = g.lot[other, READY_OF] >= g.lot[lot, READY_OF]
        elif kind == 2:
            goes = g.lot[other, ORDER_PLACE] >= g.lot[lot, ORDER_PLACE]
        else:
            goes = g.lot[other, SHORTEST] <= g.lot[lot, SHORTEST]
        if (
            goes
            and g.may[other, c]
            and s.run[t, LITRES] + g.lot[other, LITRES_OF] <= g.chamber[c, MOST_LITRES]
            and s.run[t, RAIL] + g.lot[other, RAIL_OF] <= g.chamber[c, MOST_RAIL]
        ):
            move_lot(g, s, other, t)
        other = following


@compiled
def shift_run(g: Given, s: State) -> float:
    """A run to another place in the sequence of its chamber or another."""
    r = s.lot[below(s, g.lot.shape[0]), RUN]
    if s.run[r, FIXED]:
        return IMPOSSIBLE
    c, p = s.run[r, CHAMBER], s.run[r, PLACE]
    d = c if below(s, 2) == 0 else below(s, g.chamber.shape[0])
    if not may_be_in(s, g, r, d):
        return IMPOSSIBLE
    q = some_place(g, s, d, s.run[r, START])
    if d == c and (q == p or q == p + 1):
        return IMPOSSIBLE
    take_out(s, r)
    if d == c and q > p:
        q -= 1
    put_in(s, r, d, q)
    s.run[r, TOUCHED] = s.numbers[N_MOVE]
    if d == c and q < p:
        p += 1
    return retime_two(g, s, c, p, d, q)


@compiled
def trade_runs(g: Given, s: State) -> float:
    """Two runs change places."""
    r = s.lot[below(s, g.lot.shape[0]), RUN]
    d = below(s, g.chamber.shape[0])
    if s.filled[d] == 0:
        return IMPOSSIBLE
    t = s.sequence[d, min(some_place(g, s, d, s.run[r, START]), s.filled[d] - 1)]
    if r == t or s.run[r, FIXED] or s.run[t, FIXED]:
        return IMPOSSIBLE
    c, p, q = s.run[r, CHAMBER], s.run[r, PLACE], s.run[t, PLACE]
    if c != d and not (may_be_in(s, g, r, d) and may_be_in(s, g, t, c)):
        return IMPOSSIBLE
    if c == d and p > q:
        r, t, p, q = t, r, q, p
    take_out(s, t)
    take_out(s, r)
    put_in(s, t, c, p)
    put_in(s, r, d, q)
    s.run[r, TOUCHED] = s.numbers[N_MOVE]
    s.run[t, TOUCHED] = s.numbers[N_MOVE]
    return retime_two(g, s, c, p, d, q)


@compiled
def trade_tails(g: Given, s: State) -> float:
    """A run and all after it trade chambers with what another has from about then on.

    The move known from vehicle routing as 2-opt*: J.-Y. Potvin and J.-M. Rousseau, "An exchange
    heuristic for routeing problems with time windows", Journal of the Operational Research
    Society 46(12):1433-1446, 1995.
    """
    r = s.lot[below(s, g.lot.shape[0]), RUN]
    c, p = s.run[r, CHAMBER], s.run[r, PLACE]
    d = below(s, g.chamber.shape[0])
    if c == d:
        return IMPOSSIBLE
    q = some_place(g, s, d, s.run[r, START])
    if not (tail_may_be_in(g, s, c, p, d) and tail_may_be_in(g, s, d, q, c)):
        return IMPOSSIBLE
    swap_tails(s, r, d, q)
    return retime_two(g, s, c, p, d, q)


@inlined
def tail_may_be_in(g: Given, s: State, c: int, p: int, d: int) -> bool:
    """Whether all runs from a place on may change to another chamber; if so, they are touched."""
    for k in range(p, s.filled[c]):
        r = s.sequence[c, k]
        if s.run[r, FIXED] or not may_be_in(s, g, r, d):
            return False
        s.run[r, TOUCHED] = s.numbers[N_MOVE]
    return True


@compiled
def merge_runs(g: Given, s: State) -> float:
    """All lots of a run into another of its programme, or as many as fit."""
    lot = below(s, g.lot.shape[0])
    other = like_lot(g, s, lot)
    if other < 0:
        return IMPOSSIBLE
    r, t = s.lot[lot, RUN], s.lot[other, RUN]
    if r == t or s.run[r, FIXED] or s.run[t, FIXED] or s.unfit[r, s.run[t, CHAMBER]] > 0:
        return IMPOSSIBLE
    moved = 0
    one = s.run[r, HEAD]
    while one >= 0:
        following = s.lot[one, NEXT]
        if fits(g, s, one, t, -1):
            move_lot(g, s, one, t)
            refresh(g, s, t)
            moved += 1
        one = following
    if moved == 0:
        return IMPOSSIBLE
    return settle_two(g, s, r, t)


@compiled
def chain(g: Given, s: State) -> float:
    """A lot into a run that is full, one of whose lots goes to a third run."""
    lot = below(s, g.lot.shape[0])
    other = like_lot(g, s, lot)
    if other < 0:
        return IMPOSSIBLE
    third = like_lot(g, s, other)
    if third < 0:
        return IMPOSSIBLE
    r, t, u = s.lot[lot, RUN], s.lot[other, RUN], s.lot[third, RUN]
    if r in (t, u) or t == u or s.run[r, FIXED] or s.run[t, FIXED] or s.run[u, FIXED]:
        return IMPOSSIBLE
    if not fits(g, s, lot, t, other) or not fits(g, s, other, u, -1):
        return IMPOSSIBLE
    move_lot(g, s, other, u)
    move_lot(g, s, lot, t)
    refresh(g, s, t)
    refresh(g, s, u)
    change = settle_two(g, s, r, t)
    if change == IMPOSSIBLE:
        return IMPOSSIBLE
    return change + retime(g, s, s.run[u, CHAMBER], s.run[u, PLACE], s.run[u, PLACE])


@inlined
def try_move(g: Given, s: State, kind: int) -> float:
    """Make one move; returns the difference in charges, or IMPOSSIBLE with the move half made."""
    if kind == 0:
        return relocate(g, s)
    if kind == 1:
        return exchange(g, s)
    if kind == 2:
        return open_run(g, s)
    if kind == 3:
        return shift_run(g, s)
    if kind == 4:
        return trade_runs(g, s)
    if kind == 5:
        return merge_runs(g, s)
    if kind == 6:
        return chain(g, s)
    return trade_tails(g, s)


@compiled
def keep_best(s: State) -> None:
    """Copy the state, the best so far."""
    s.total[1] = s.total[0]
    s.best_run[:] = s.lot[:, RUN]
    s.best_place[:, 0] = s.run[:, CHAMBER]
    s.best_place[:, 1] = s.run[:, START]


@inlined
def pick(s: State, shares: Floats) -> int:
    """A kind of move by the chances given."""
    x = fraction(s)
    kind = 0
    while kind < len(shares) - 1 and x >= shares[kind]:
        kind += 1
    return kind


@compiled
def anneal(g: Given, s: State, tries: int, heat: float, shares: Floats) -> int:
    """Try so many moves at one temperature; returns how many were accepted."""
    accepted = 0
    for _ in range(tries):
        kind = pick(s, shares)
        s.numbers[N_MOVE] += 1
        s.numbers[N_UNDO] = 0
        finish = finish_charge(g, s)
        change = try_move(g, s, kind)
        if change != IMPOSSIBLE:
            change += finish_charge(g, s) - finish
        if change <= 0.0 or (
            change != IMPOSSIBLE and heat > 0.0 and fraction(s) < np.exp(-change / heat)
        ):
            s.numbers[N_FREE] = release(s)
            s.total[0] += change
            accepted += 1
            if s.total[0] < s.total[1] - 1e-6:
                keep_best(s)
        else:
            undo(g, s)
    return accepted


@compiled
def release(s: State) -> int:
    """Give back the slots of runs that the move emptied; returns how many are free."""
    free = s.numbers[N_FREE]
    for n in range(s.numbers[N_UNDO]):
        if s.undo[n, 0] == OP_OUT:
            r = s.undo[n, 1]
            if s.run[r, CHAMBER] < 0 and s.run[r, SIZE] == 0:
                s.free[free] = r
                free += 1
    return free


@compiled
def sample_worsening(g: Given, s: State, tries: int, shares: Floats, found: Floats) -> int:
    """Fill `found` with how much moves that make it worse would cost; returns how many."""
    n = 0
    for _ in range(tries):
        kind = pick(s, shares)
        s.numbers[N_MOVE] += 1
        s.numbers[N_UNDO] = 0
        change = try_move(g, s, kind)
        undo(g, s)
        if change != IMPOSSIBLE and change > 0.0 and n < len(found):
            found[n] = change
            n += 1
    return n


@compiled
def settle_all(g: Given, s: State) -> bool:
    """Work out every run's times and the total; False when the sequences are not possible."""
    s.numbers[N_MOVE] += 1
    total = 0.0
    for c in range(s.filled.shape[0]):
        for k in range(s.filled[c]):
            s.numbers[N_UNDO] = 0
            r = s.sequence[c, k]
            s.run[r, TOUCHED] = s.numbers[N_MOVE]
            s.charge[r, COST], s.charge[r, CLEAN] = 0.0, 0.0
            if s.run[r, FIXED]:
                s.charge[r, COST] = lots_cost(g, s, r, s.run[r, START], s.run[r, END])
                total += s.charge[r, COST]
            else:
                s.run[r, START], s.run[r, END] = -1, -1
    s.numbers[N_UNDO] = 0
    for c in range(s.filled.shape[0]):
        change = retime(g, s, c, 0, s.filled[c])
        s.numbers[N_UNDO] = 0
        if change == IMPOSSIBLE:
            return False
        total += change
    s.total[0] = total + finish_charge(g, s)
    return True
