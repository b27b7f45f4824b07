"""The plan drawn over time: chambers as runs, work at benches as bars where there is room for them,
and how full rooms, stores and benches are as an outline under their limit.

Drawn on the server as SVG with presentation attributes only; the same facts stand in a table
beside it, so the picture is never the only way to read the plan. The names of the stations are a
drawing of their own, which stays in sight while the days scroll past it on a phone.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from html import escape
from itertools import groupby, pairwise
from textwrap import wrap
from zoneinfo import ZoneInfo

from markupsafe import Markup

from scheduler.plan import Placement, Plan, Run
from scheduler.problem import Bench, Chamber, Problem, Room, RoomStep, Shift, Station, Store

ROW = 46
BAR = 30
NAMES = 148
NAME_LETTERS = 19
WIDTH = 1032
TOP = 34
INK, RULE, FAINT = "#0d2b3a", "#b9c6cc", "#eef2f3"
FILLS = ("#1f5f78", "#8a5a13", "#5a4a8a", "#2f6b46", "#8a3b4a", "#4a5560")
CLOSED = "#d9dee0"
NOW = "#a3271f"
SHADE = 'fill="#0d2b3a" fill-opacity="0.07"'
SATURDAY = 5
WEEK = 7 * 24 * 60
MOST_LANES = 10
"""More lines of bars than this in a row would be too thin to hit."""


@dataclass(frozen=True)
class Use:
    """How much of a station is used between two times, of how much."""

    start: int
    end: int
    used: float
    most: float

    @property
    def share(self) -> float:
        """The part of it that is used; 0 of nothing."""
        return self.used / self.most if self.most else 0.0


@dataclass(frozen=True)
class Shown:
    """Which part of the plan is drawn.

    Attributes:
        pieces: only what concerns these, or ``None`` for all.
        station: only this one, or ``None`` for all.
        now: the present minute, or ``None`` when the plan does not reach it.
        address: the address of the page, to which a station's id is added.
    """

    pieces: frozenset[str] | None = None
    station: str | None = None
    now: int | None = None
    address: str = "/facility/plan?station="

    def has(self, piece: str) -> bool:
        """Whether a piece is shown."""
        return self.pieces is None or piece in self.pieces


ALL = Shown()


@dataclass(frozen=True)
class Row:
    """A line of the board: a station, and for what it shares out, which of that."""

    station: Station
    what: str
    uses: tuple[Use, ...]

    @property
    def name(self) -> str:
        """What the line is called."""
        label = self.station.label or self.station.id
        return f"{label}, {self.what}" if self.what else label


def rows_of(problem: Problem, plan: Plan, station: str | None = None) -> list[Row]:
    """The lines of the board: every chamber, and whatever else is used."""
    found = []
    for one in problem.stations:
        if station not in {None, one.id}:
            continue
        if isinstance(one, Chamber):
            found.append(Row(one, "", ()))
        elif _is_used(one, plan):
            what = {"room": "rack", "store": ""}.get(one.kind, "people")
            found.append(Row(one, what, tuple(uses(problem, plan, one))))
            if isinstance(one, Room) and (moist := moisture(problem, plan, one)):
                found.append(Row(one, "water", tuple(moist)))
    return found


def draw(
    problem: Problem, plan: Plan, start: int, days: int, zone: str, *, shown: Shown = ALL
) -> Markup:
    """The plan from minute ``start`` for ``days`` days: the stations' names, and their days."""
    rows = rows_of(problem, plan, shown.station)
    height = TOP + ROW * len(rows) + 8
    view = _View(
        problem, start, start + days * 24 * 60, WIDTH / (days * 24 * 60), ZoneInfo(zone), shown
    )
    programmes = {one.id: index for index, one in enumerate(problem.programmes)}
    names: list[str] = []
    chart = [*view.days(height)]
    for number, row in enumerate(rows):
        top = TOP + number * ROW
        names += _name(row.name, top)
        names.append(_rule(top + ROW, NAMES))
        chart.append(_rule(top + ROW, WIDTH))
        if isinstance(row.station, Chamber):
            chart += view.chamber(row.station, plan, programmes, top)
        else:
            chart += view.use(row, top)
            if row.what != "water":
                chart += view.work(row.station, plan, top)
    chart += view.present(height)
    words = f"Plan board, {days} days; the same is in the table below"
    return Markup(
        '<div class="board">'
        + _drawing(names, NAMES, height, 'class="board__names"')
        + _drawing(chart, WIDTH, height, f'role="group" aria-label="{words}"')
        + "</div>"
    )


def _drawing(parts: Iterable[str], width: int, height: int, attributes: str) -> str:
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" '
        f'width="{width}" height="{height}" {attributes} '
        f'font-family="system-ui, sans-serif" font-size="13">{"".join(parts)}</svg>'
    )


def _rule(y: int, width: int) -> str:
    return f'<line x1="0" x2="{width}" y1="{y}" y2="{y}" stroke="{RULE}"/>'


def _name(text: str, top: int) -> Iterable[str]:
    """A station's name on one line, or on two and cut short."""
    lines = wrap(text, NAME_LETTERS, max_lines=2, placeholder="…")
    first = top + 27 if len(lines) == 1 else top + 20
    for number, line in enumerate(lines):
        yield (
            f'<text x="8" y="{first + 16 * number}" fill="{INK}" font-weight="600">'
            f"{escape(line)}</text>"
        )


def _is_used(station: Station, plan: Plan) -> bool:
    return any(one.station == station.id for one in plan.placements)


@dataclass(frozen=True)
class _View:
    """A stretch of time on paper."""

    problem: Problem
    start: int
    end: int
    scale: float
    zone: ZoneInfo
    shown: Shown

    def x(self, minute: float) -> float:
        """Where a minute lies."""
        return round((min(max(minute, self.start), self.end) - self.start) * self.scale, 1)

    def days(self, height: int) -> Iterable[str]:
        """A rule and a name for every local midnight."""
        first = True
        narrow = (self.end - self.start) > 16 * 24 * 60
        for minute, midnight in _midnights(self.problem.epoch, self.start, self.end, self.zone):
            x = self.x(minute)
            if midnight.weekday() >= SATURDAY and minute < self.end:
                wide = self.x(minute + 24 * 60) - x
                yield f'<rect x="{x}" y="20" width="{wide:.1f}" height="{height - 20}" {SHADE}/>'
            if self.start <= minute < self.end:
                yield f'<line x1="{x}" x2="{x}" y1="20" y2="{height}" stroke="{RULE}"/>'
                if (not narrow or midnight.weekday() == 0) and x < WIDTH - 50:
                    name = _day(midnight, with_month=first or midnight.day == 1)
                    yield f'<text x="{x + 3}" y="15" fill="{INK}">{name}</text>'
                    first = False

    def chamber(
        self, station: Chamber, plan: Plan, programmes: dict[str, int], top: int
    ) -> Iterable[str]:
        """Runs as bars with the number of pieces; times out of use are hatched grey."""
        for closed_from, closed_to in self._closed(station):
            x, wide = self.x(closed_from), self.x(closed_to) - self.x(closed_from)
            if wide > 0:
                yield (
                    f'<rect x="{x}" y="{top + 8}" width="{wide:.1f}" height="{BAR}" '
                    f'fill="{CLOSED}" stroke="{INK}" stroke-dasharray="3 3"/>'
                    f'<text x="{x + 4}" y="{top + 28}" fill="{INK}">out of use</text>'
                )
        for run in plan.runs:
            if run.station != station.id or run.end <= self.start or run.start >= self.end:
                continue
            if not any(self.shown.has(piece) for piece in run.items):
                continue
            index = programmes.get(run.programme, 0)
            x, wide = self.x(run.start), max(self.x(run.end) - self.x(run.start), 2)
            label = next(
                (one.label for one in self.problem.programmes if one.id == run.programme),
                run.programme,
            )
            title = f"{run.id}: {label}, {len(run.items)} pieces"
            fill = FILLS[index % len(FILLS)]
            yield (
                f'<a href="/facility/plan/runs/{escape(run.id)}"><title>{escape(title)}</title>'
                f'<rect x="{x}" y="{top + 8}" width="{wide:.1f}" height="{BAR}" rx="3" '
                f'fill="{fill}"/>'
            )
            if wide > 22:
                words = f"{len(run.items)}" if wide < 110 else f"{len(run.items)} · {label}"
                fitting = words[: max(2, int(wide / 7.4))]
                yield f'<text x="{x + 5}" y="{top + 28}" fill="#ffffff">{escape(fitting)}</text>'
            yield "</a>"

    def _closed(self, station: Chamber) -> Iterable[tuple[int, int]]:
        if station.windows is None:
            return
        at = 0
        for window in sorted(station.windows):
            if window.start > at:
                yield at, window.start
            at = max(at, window.end)

    def present(self, height: int) -> Iterable[str]:
        """The line of the present moment."""
        now = self.shown.now
        if now is not None and self.start <= now < self.end:
            x = self.x(now)
            at = min(x + 3, WIDTH - 30)
            yield f'<line x1="{x}" x2="{x}" y1="18" y2="{height}" stroke="{NOW}" stroke-width="2"/>'
            yield f'<text x="{at}" y="29" fill="{NOW}" font-size="12">now</text>'

    def use(self, row: Row, top: int) -> Iterable[str]:
        """How full a shared station is, as an outline under its limit, and when it is shut."""
        yield f'<rect x="0" y="{top + 8}" width="{WIDTH}" height="{BAR}" fill="{FAINT}"/>'
        if isinstance(row.station, Bench):
            yield from self._unstaffed(row.station, top)
        points, fullest = [], 0.0
        for one in row.uses:
            if one.end <= self.start or one.start >= self.end:
                continue
            fullest = max(fullest, one.share)
            y = top + 8 + BAR * (1 - min(one.share, 1.0))
            points += [f"{self.x(one.start)},{y:.1f}", f"{self.x(one.end)},{y:.1f}"]
        if points:
            base = top + 8 + BAR
            first, last = points[0].split(",")[0], points[-1].split(",")[0]
            outline = " ".join([f"{first},{base}", *points, f"{last},{base}"])
            title = escape(f"{row.name}: at most {fullest:.0%} used")
            opacity = 0.75 if self.shown.pieces is None else 0.3
            yield (
                f'<a href="{escape(self.shown.address + row.station.id)}"><title>{title}</title>'
                f'<polygon points="{outline}" fill="{FILLS[0]}" fill-opacity="{opacity}"/></a>'
            )

    def _unstaffed(self, bench: Bench, top: int) -> Iterable[str]:
        at = self.start
        for shift in [*bench.shifts, Shift(self.end, self.end + 1, 1)]:
            if shift.start > at and at < self.end:
                x, wide = self.x(at), self.x(shift.start) - self.x(at)
                yield f'<rect x="{x}" y="{top + 8}" width="{wide:.1f}" height="{BAR}" {SHADE}/>'
            at = max(at, shift.end)

    def work(self, station: Station, plan: Plan, top: int) -> Iterable[str]:
        """Each piece as a bar that leads to it, where there is room for bars."""
        if self.shown.pieces is None and not (
            isinstance(station, Bench) and self.end - self.start <= WEEK
        ):
            return
        here = [
            one
            for one in plan.placements
            if one.station == station.id
            and one.start < self.end
            and one.end > self.start
            and self.shown.has(one.item)
        ]
        lanes = _lanes(here)
        if not here or len(lanes) > MOST_LANES:
            return
        labels = {item.id: item.label or item.id for item in self.problem.items}
        tall = BAR / len(lanes)
        for number, lane in enumerate(lanes):
            for one in lane:
                x = min(self.x(one.start), WIDTH - 2)
                wide = max(self.x(one.end) - x, 2)
                title = escape(f"{labels[one.item]}: {one.step.replace('_', ' ')}")
                yield (
                    f'<a href="/facility/plan/pieces/{escape(one.item)}"><title>{title}</title>'
                    f'<rect x="{x}" y="{top + 8 + number * tall:.1f}" width="{wide:.1f}" '
                    f'height="{tall:.1f}" fill="{FILLS[1]}" stroke="#ffffff"/></a>'
                )


def _lanes(placements: Iterable[Placement]) -> list[list[Placement]]:
    """What happens at one time on lines of their own, as few as it takes."""
    lanes: list[list[Placement]] = []
    for one in sorted(placements, key=lambda one: (one.start, one.end, one.item)):
        free = next((lane for lane in lanes if lane[-1].end <= one.start), None)
        if free is None:
            lanes.append([one])
        else:
            free.append(one)
    return lanes


def _day(moment: datetime, *, with_month: bool) -> str:
    return f"{moment:%a} {moment.day}" + (f" {moment:%b}" if with_month else "")


def uses(problem: Problem, plan: Plan, station: Station) -> list[Use]:
    """How much of a room's rack, a store's litres or a bench's people is used over time."""
    here = [one for one in plan.placements if one.station == station.id]
    if not here:
        return []
    steps = {(item.id, step.id): step for item in problem.items for step in item.steps}
    volumes = {item.id: item.volume_l for item in problem.items}

    def amount(one: Placement) -> float:
        step = steps[one.item, one.step]
        if isinstance(step, RoomStep):
            return step.rack_mm
        return volumes[one.item] if isinstance(station, Store) else 1

    most: float
    match station:
        case Room():
            most = station.rack_mm
        case Store():
            most = station.litres
        case Bench():
            most = max((shift.people for shift in station.shifts), default=1)
        case _:
            most = 1
    return _levels(((one.start, one.end, amount(one)) for one in here), most)


def moisture(problem: Problem, plan: Plan, room: Room) -> list[Use]:
    """How much of the moisture that a room can remove is given off in it over time, g/h."""
    steps = {(item.id, step.id): step for item in problem.items for step in item.steps}
    spells: list[tuple[int, int, float]] = []
    for one in plan.placements:
        step = steps[one.item, one.step]
        if one.station != room.id or not isinstance(step, RoomStep):
            continue
        if isinstance(step.g_h, int):
            spells.append((one.start, one.end, step.g_h))
            continue
        # A list of rates ends with the shortest stay (scheduler.problem.RoomStep).
        stop = min(one.end, one.start + step.min_min)
        at = one.start
        for rate, hours in groupby(step.g_h):
            until = min(at + 60 * sum(1 for _ in hours), stop)
            spells.append((at, until, rate))
            at = until
    return _levels((spell for spell in spells if spell[2]), room.removal_g_h)


def _levels(spells: Iterable[tuple[int, int, float]], most: float) -> list[Use]:
    """(start, end, amount) of each user, added up."""
    changes: dict[int, float] = {}
    for start, end, amount in spells:
        changes[start] = changes.get(start, 0) + amount
        changes[end] = changes.get(end, 0) - amount
    found, level = [], 0.0
    for at, until in pairwise(sorted(changes)):
        level += changes[at]
        found.append(Use(at, until, level, most))
    return found


@dataclass(frozen=True)
class DayLine:
    """What one line of the board shows of one day: how full at most in words, or which runs."""

    name: str
    day: str
    words: str
    runs: tuple[Run, ...] = ()


def day_lines(
    problem: Problem, plan: Plan, start: int, days: int, zone: str, *, shown: Shown = ALL
) -> list[DayLine]:
    """What the drawing shows, by line and day; idle days are left out."""
    last = start + days * 24 * 60
    midnights = list(_midnights(problem.epoch, start, last, ZoneInfo(zone)))
    found = []
    for row in rows_of(problem, plan, shown.station):
        for (begins, moment), (until, _) in pairwise(midnights):
            first, ends = max(begins, start), min(until, last)
            runs = tuple(
                run
                for run in plan.runs
                if run.station == row.station.id
                and run.start < ends
                and run.end > first
                and any(shown.has(piece) for piece in run.items)
            )
            shares = (one.share for one in row.uses if one.start < ends and one.end > first)
            peak = max(shares, default=0.0)
            words = f"at most {peak:.0%} used" if peak else ""
            if runs or words:
                found.append(DayLine(row.name, _day(moment, with_month=True), words, runs))
    return found


def _midnights(
    epoch: datetime, start: int, end: int, zone: ZoneInfo
) -> Iterable[tuple[int, datetime]]:
    """(minute, local midnight) of every day from the one that ``start`` is in, and one beyond."""
    local = (epoch + timedelta(minutes=start)).astimezone(zone)
    midnight = local.replace(hour=0, minute=0, second=0, microsecond=0)
    while True:
        minute = round((midnight - epoch).total_seconds() / 60)
        yield minute, midnight
        if minute >= end:
            return
        midnight = datetime.combine(
            midnight.date() + timedelta(days=1), midnight.timetz(), midnight.tzinfo
        )
