"""A small chart drawn as SVG: axes with units, curves, bands, points, and a legend in words.

Presentation attributes only, for the content policy refuses inline style and script. Every text
is escaped. Marks differ by dash and shape as well as by colour.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from html import escape
from typing import Literal

from markupsafe import Markup

from shared.records import FacilityBook

INK, RULE, FAINT, SOFT = "#0d2b3a", "#b9c6cc", "#eef2f3", "#364c57"
COLOURS = ("#1f5f78", "#a8430f", "#2f6b46", "#5a4a8a", "#8a3b4a", "#4a5560")
DASHES = ("", "7 4", "2 4", "10 3 2 3", "5 2", "1 3")
WIDTH, LEFT, RIGHT, TOP, PANEL, FOOT = 820, 74, 16, 14, 250, 44
LEGEND_LINE, LEGEND_COLUMNS = 20, 2
_CHARACTER = 6.6
"""Widest average letter at size 12, to keep labels inside the picture."""

Point = tuple[float, float]
Swatch = Literal["line", "band", "dot", "hollow", "shade"]


@dataclass(frozen=True)
class Scale:
    """From values to places: linear, or logarithmic to base ten."""

    low: float
    high: float
    start: float
    end: float
    log: bool = False

    def at(self, value: float) -> float:
        """The place of a value; one beyond the ends is put at the end."""
        value = min(max(value, self.low), self.high)
        if self.log:
            share = math.log(value / self.low) / math.log(self.high / self.low)
        else:
            share = (value - self.low) / (self.high - self.low)
        return round(self.start + share * (self.end - self.start), 1)

    def ticks(self, steps: Sequence[float] = ()) -> list[float]:
        """Round values within the scale, at most eight."""
        if self.log:
            first = math.ceil(math.log10(self.low) - 1e-9)
            last = math.floor(math.log10(self.high) + 1e-9)
            return [10.0**power for power in range(first, last + 1)]
        span = self.high - self.low
        unit = 10.0 ** math.floor(math.log10(span / 8))
        found = steps or [unit * by for by in (1, 2, 5, 10, 20)]
        step = next((one for one in found if span / one <= 8), unit * 20)
        first = math.ceil(self.low / step - 1e-9)
        return [number * step for number in range(first, math.floor(self.high / step + 1e-9) + 1)]


@dataclass(frozen=True)
class Plot:
    """A picture, the sentence that says what it supposes, and its figures as a table."""

    picture: Markup
    caption: str
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


HOURS = (0.25, 0.5, 1, 2, 3, 6, 12, 24, 48, 72, 168, 336, 720, 1440, 2880, 8760)


@dataclass
class Chart:
    """One picture of one or more panels above each other, over the same hours."""

    hours: tuple[float, float]
    x_title: str
    panels: list["Panel"] = field(default_factory=list)
    legend: list[tuple[Swatch, str, str, str]] = field(default_factory=list)

    @property
    def x(self) -> Scale:
        """From hours to places."""
        return Scale(*self.hours, LEFT, WIDTH - RIGHT)

    def panel(self, y_title: str, low: float, high: float, *, log: bool = False) -> "Panel":
        """A further panel below those there are."""
        top = TOP + len(self.panels) * (PANEL + 34) + 20
        made = Panel(self, y_title, Scale(low, high, top + PANEL, top, log), top)
        self.panels.append(made)
        return made

    def explain(self, kind: Swatch, words: str, colour: str = INK, dash: str = "") -> None:
        """A line of the legend."""
        self.legend.append((kind, words, colour, dash))

    def draw(self, label: str) -> Markup:
        """The picture; ``label`` says its figures in words for those who don't see it."""
        bottom = self.panels[-1].top + PANEL
        lines = math.ceil(len(self.legend) / LEGEND_COLUMNS)
        height = bottom + FOOT + lines * LEGEND_LINE + 8
        parts = [
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {height}" '
            f'width="{WIDTH}" height="{height}" role="img" '
            f'aria-label="{escape(_printable(label))}" '
            f'font-family="system-ui, sans-serif" font-size="12">'
        ]
        for panel in self.panels:
            parts += [*panel.behind, *panel.frame(), *panel.front]
        for hour in self.x.ticks(HOURS):
            parts.append(text(self.x.at(hour), bottom + 17, f"{hour:g}", anchor="middle"))
        parts.append(text((LEFT + WIDTH - RIGHT) / 2, bottom + 36, self.x_title, anchor="middle"))
        parts += self._legend(bottom + FOOT)
        parts.append("</svg>")
        return Markup("".join(parts))

    def _legend(self, top: float) -> list[str]:
        parts = []
        for number, (kind, words, colour, dash) in enumerate(self.legend):
            x = LEFT + number % LEGEND_COLUMNS * (WIDTH - LEFT) / LEGEND_COLUMNS
            y = top + number // LEGEND_COLUMNS * LEGEND_LINE + 10
            parts += [_swatch(kind, x, y, colour, dash), text(x + 34, y + 4, words)]
        return parts


def _swatch(kind: Swatch, x: float, y: float, colour: str, dash: str) -> str:
    match kind:
        case "line":
            return line(x, y, x + 26, y, colour, width=2.2, dash=dash)
        case "band" | "shade":
            opacity = 0.22 if kind == "band" else 1
            return (
                f'<rect x="{x}" y="{y - 6}" width="26" height="12" fill="{colour}" '
                f'fill-opacity="{opacity}" stroke="{RULE}"/>'
            )
        case _:
            return dot(x + 13, y, colour, hollow=kind == "hollow")


@dataclass
class Panel:
    """One frame with its own vertical scale; what is drawn later lies on top."""

    chart: Chart
    title: str
    y: Scale
    top: float
    behind: list[str] = field(default_factory=list)
    front: list[str] = field(default_factory=list)

    def frame(self) -> list[str]:
        """Gridlines, figures and the name of the quantity."""
        left, right = LEFT, WIDTH - RIGHT
        parts = [text(left, self.top - 8, self.title, weight="600")]
        for value in self.y.ticks():
            y = self.y.at(value)
            parts.append(line(left, y, right, y, RULE))
            parts.append(text(left - 8, y + 4, f"{value:g}", anchor="end"))
        for hour in self.chart.x.ticks(HOURS):
            x = self.chart.x.at(hour)
            parts.append(line(x, self.top, x, self.top + PANEL, RULE))
        parts.append(
            f'<rect x="{left}" y="{self.top}" width="{right - left}" height="{PANEL}" '
            f'fill="none" stroke="{SOFT}"/>'
        )
        return parts

    def at(self, hour: float, value: float) -> Point:
        """The place of a value at an hour."""
        return self.chart.x.at(hour), self.y.at(value)

    def shade(self, start: float, end: float, colour: str = FAINT, words: str = "") -> None:
        """A stretch of time behind everything, with words at its top where they fit."""
        x, right = self.chart.x.at(start), self.chart.x.at(end)
        if right <= x:
            return
        self.behind.append(
            f'<rect x="{x}" y="{self.top}" width="{right - x:.1f}" height="{PANEL}" '
            f'fill="{colour}"/>'
        )
        if words and len(words) * _CHARACTER < right - x - 6:
            self.front.append(text(x + 4, self.top + 14, words, SOFT))

    def band(self, low: Sequence[Point], high: Sequence[Point], colour: str) -> None:
        """The area between two curves."""
        places = [self.at(*point) for point in [*high, *reversed(low)]]
        points = " ".join(f"{x},{y}" for x, y in places)
        self.front.append(f'<polygon points="{points}" fill="{colour}" fill-opacity="0.22"/>')

    def curve(self, points: Sequence[Point], colour: str, dash: str = "") -> None:
        """A line through points."""
        places = " ".join("{},{}".format(*self.at(*point)) for point in points)
        self.front.append(
            f'<polyline points="{places}" fill="none" stroke="{colour}" stroke-width="2.2"'
            f"{_dashed(dash)}/>"
        )

    def dots(self, points: Sequence[Point], colour: str, *, hollow: bool = False) -> None:
        """A mark at each point; smaller ones where there are many."""
        radius = 3.6 if len(points) <= 40 else 2.2
        self.front += [dot(*self.at(*point), colour, radius, hollow=hollow) for point in points]

    def level(self, value: float, words: str, colour: str, dash: str = "7 4") -> None:
        """A line across at a value, with words above it."""
        y = self.y.at(value)
        self.front.append(line(LEFT, y, WIDTH - RIGHT, y, colour, width=1.8, dash=dash))
        below = y - self.top < 30
        self.front.append(text(LEFT + 6, y + 15 if below else y - 6, words, colour, weight="600"))

    def moment(self, hour: float, words: str, colour: str = INK, drop: int = 0) -> None:
        """A line from top to bottom at an hour, with words beside it; ``drop`` lines lower."""
        x = self.chart.x.at(hour)
        self.front.append(line(x, self.top, x, self.top + PANEL, colour, width=1.6, dash="3 3"))
        fits = x + 12 + len(words) * _CHARACTER < WIDTH - RIGHT
        y = self.top + 32 + drop * 18
        where = (x + 5, "start") if fits else (x - 5, "end")
        self.front.append(text(where[0], y, words, colour, anchor=where[1], weight="600"))

    def span(self, start: float, end: float, value: float, colour: str) -> None:
        """An interval lying at a value, with ends."""
        x, y = self.at(start, value)
        right = self.chart.x.at(end)
        self.front += [
            line(x, y, right, y, colour, width=3),
            line(x, y - 6, x, y + 6, colour, width=3),
            line(right, y - 6, right, y + 6, colour, width=3),
        ]


def text(
    x: float, y: float, words: str, colour: str = INK, *, anchor: str = "start", weight: str = "400"
) -> str:
    """A line of text, with a pale edge so that it reads on top of a curve."""
    return (
        f'<text x="{x:g}" y="{y:g}" fill="{colour}" stroke="#ffffff" stroke-width="3" '
        f'paint-order="stroke" text-anchor="{anchor}" font-weight="{weight}">'
        f"{escape(_printable(words))}</text>"
    )


def line(
    x: float, y: float, x_end: float, y_end: float, colour: str, *, width: float = 1, dash: str = ""
) -> str:
    """A straight line."""
    return (
        f'<line x1="{x:g}" y1="{y:g}" x2="{x_end:g}" y2="{y_end:g}" stroke="{colour}" '
        f'stroke-width="{width:g}"{_dashed(dash)}/>'
    )


def dot(x: float, y: float, colour: str, radius: float = 3.6, *, hollow: bool = False) -> str:
    """A round mark; hollow for a value that is only known to be no more."""
    fill = "#ffffff" if hollow else colour
    return f'<circle cx="{x:g}" cy="{y:g}" r="{radius:g}" fill="{fill}" stroke="{colour}"/>'


def _dashed(dash: str) -> str:
    return f' stroke-dasharray="{dash}"' if dash else ""


def _printable(words: str) -> str:
    """Without control characters, which no XML may hold."""
    return "".join(letter if letter.isprintable() else " " for letter in words)


def hours_between(start: datetime, at: datetime) -> float:
    """Hours from one moment to another."""
    return (at - start) / timedelta(hours=1)


def zone_of(book: FacilityBook) -> str:
    """The zone whose clocks the facility goes by."""
    return book.facility.zone if book.facility else "UTC"


def span_words(hours: float) -> str:
    """A length of time as people say it."""
    return f"{hours:.0f} h" if hours < 72 else f"{hours / 24:.0f} days"
