"""The plan drawn over time: chambers as runs, rooms and benches as how much of them is used.

Drawn on the server as SVG with presentation attributes only; the same facts stand in a table
beside it, so the picture is never the only way to read the plan. The names of the stations are a
drawing of their own, which stays in sight while the days scroll past it on a phone.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from html import escape
from itertools import pairwise
from textwrap import wrap
from zoneinfo import ZoneInfo

from markupsafe import Markup

from scheduler.plan import Placement, Plan
from scheduler.problem import Bench, Chamber, Problem, Room, RoomStep, Station, Store

ROW = 46
BAR = 30
NAMES = 148
NAME_LETTERS = 19
WIDTH = 1032
TOP = 34
INK, RULE, FAINT = "#0d2b3a", "#b9c6cc", "#eef2f3"
FILLS = ("#1f5f78", "#8a5a13", "#5a4a8a", "#2f6b46", "#8a3b4a", "#4a5560")
CLOSED = "#d9dee0"


@dataclass(frozen=True)
class Use:
    """How much of a station is used between two times, of how much."""

    start: int
    end: int
    used: float
    most: float


def draw(problem: Problem, plan: Plan, start: int, days: int, zone: str) -> Markup:
    """The plan from minute ``start`` for ``days`` days: the stations' names, and their days."""
    rows = [one for one in problem.stations if _is_used(one, plan) or isinstance(one, Chamber)]
    height = TOP + ROW * len(rows) + 8
    view = _View(problem, start, start + days * 24 * 60, WIDTH / (days * 24 * 60), ZoneInfo(zone))
    programmes = {one.id: index for index, one in enumerate(problem.programmes)}
    names: list[str] = []
    chart = [*view.days(height)]
    for number, station in enumerate(rows):
        top = TOP + number * ROW
        names += _name(station.label or station.id, top)
        names.append(_rule(top + ROW, NAMES))
        chart.append(_rule(top + ROW, WIDTH))
        if isinstance(station, Chamber):
            chart += view.chamber(station, plan, programmes, top)
        else:
            chart += view.use(uses(problem, plan, station), top)
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

    def x(self, minute: float) -> float:
        """Where a minute lies."""
        return round((min(max(minute, self.start), self.end) - self.start) * self.scale, 1)

    def days(self, height: int) -> Iterable[str]:
        """A rule and a name for every local midnight."""
        moment = self.problem.epoch + timedelta(minutes=self.start)
        local = moment.astimezone(self.zone)
        midnight = local.replace(hour=0, minute=0, second=0, microsecond=0)
        first = True
        narrow = (self.end - self.start) > 16 * 24 * 60
        while True:
            minute = (midnight - self.problem.epoch).total_seconds() / 60
            if minute >= self.end:
                return
            if minute >= self.start:
                x = self.x(minute)
                yield f'<line x1="{x}" x2="{x}" y1="20" y2="{height}" stroke="{RULE}"/>'
                if (not narrow or midnight.weekday() == 0) and x < WIDTH - 50:
                    name = _day(midnight, with_month=first or midnight.day == 1)
                    yield f'<text x="{x + 3}" y="15" fill="{INK}">{name}</text>'
                    first = False
            midnight = datetime.combine(
                midnight.date() + timedelta(days=1), midnight.timetz(), midnight.tzinfo
            )

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
            index = programmes.get(run.programme, 0)
            x, wide = self.x(run.start), max(self.x(run.end) - self.x(run.start), 2)
            label = next(
                (one.label for one in self.problem.programmes if one.id == run.programme),
                run.programme,
            )
            title = f"{run.id}: {label}, {len(run.items)} pieces"
            fill = FILLS[index % len(FILLS)]
            yield (
                f'<a href="/facility/runs/{escape(run.id)}"><title>{escape(title)}</title>'
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

    def use(self, pieces: Sequence[Use], top: int) -> Iterable[str]:
        """How full a shared station is, as a filled outline under its limit."""
        yield f'<rect x="0" y="{top + 8}" width="{WIDTH}" height="{BAR}" fill="{FAINT}"/>'
        points = []
        for one in pieces:
            if one.end <= self.start or one.start >= self.end:
                continue
            share = min(one.used / one.most, 1.0) if one.most else 0.0
            y = top + 8 + BAR * (1 - share)
            points += [f"{self.x(one.start)},{y:.1f}", f"{self.x(one.end)},{y:.1f}"]
        if points:
            base = top + 8 + BAR
            first, last = points[0].split(",")[0], points[-1].split(",")[0]
            outline = " ".join([f"{first},{base}", *points, f"{last},{base}"])
            yield f'<polygon points="{outline}" fill="{FILLS[0]}" fill-opacity="0.75"/>'


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
    changes: dict[int, float] = {}
    for one in here:
        changes[one.start] = changes.get(one.start, 0) + amount(one)
        changes[one.end] = changes.get(one.end, 0) - amount(one)
    times = sorted(changes)
    found, level = [], 0.0
    for at, until in pairwise(times):
        level += changes[at]
        found.append(Use(at, until, level, most))
    return found
