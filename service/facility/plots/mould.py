"""How near mould is: the precautionary clock and the VTT index of a wet piece."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from math import ceil

import numpy as np

from service.facility.plots.chart import (
    COLOURS,
    DASHES,
    INK,
    SOFT,
    Chart,
    Plot,
    Point,
    hours_between,
    span_words,
    zone_of,
)
from service.facility.plots.drying import drying_began
from service.pages import moment
from shared.facts import Constant, Facts
from shared.mould import (
    MouldSensitivity,
    SurfaceSeries,
    VttResult,
    forecast_onset_h,
    vtt_index,
    vtt_material,
)
from shared.records import FacilityBook, Item, Loss
from shared.triage import FrozenInterval

CLOCK, INDEX, LIMIT = COLOURS[0], COLOURS[1], COLOURS[4]
FROZEN = "#dfe5e8"
WET_SURFACE_RH, ROOM_C = 1.0, 20.0
"""What the model is told of a wet surface that nobody measured; ours, the cautious end."""
MOST_H = 60 * 24


@dataclass(frozen=True)
class _Wet:
    """How long a piece has been wet: hours from wetting, and the stretches it was frozen."""

    start: datetime
    now_h: float
    stop_h: float
    frozen: tuple[tuple[float, float], ...]
    t_c: float | None
    window_h: float

    def used(self, hour: float) -> float:
        """Share of the precautionary window used at an hour; freezing pauses it."""
        paused = sum(max(min(end, hour) - start, 0.0) for start, end in self.frozen)
        return (hour - paused) / self.window_h

    @property
    def still_frozen(self) -> bool:
        """Whether it is frozen now."""
        return any(start <= self.now_h <= end for start, end in self.frozen)


def mould_plot(
    piece: Item,
    loss: Loss | None,
    frozen: Sequence[FrozenInterval],
    *,
    book: FacilityBook,
    now: datetime,
    known: Facts,
) -> Plot | None:
    """The precautionary clock and the VTT index of a wet piece, from wetting to drying or now.

    ``frozen`` are the times it was held frozen. ``None`` when nothing on it grows mould, as
    triage sees it, nobody has said what it is made of, or nobody knows since when it is wet.
    """
    wet = _wet(piece, loss, frozen, book=book, now=now, known=known)
    if wet is None or not piece.materials:
        return None
    order = list(MouldSensitivity)
    sensitivity = min(
        (known.ratings[material].mould_sensitivity for material in piece.materials), key=order.index
    )
    if sensitivity is MouldSensitivity.RESISTANT:
        return None
    t_c = wet.t_c if wet.t_c is not None else ROOM_C
    result = _index(wet, wet.stop_h, t_c, sensitivity)
    onset_h = None
    dries = wet.stop_h < wet.now_h
    if not dries and not wet.still_frozen:
        onset_h = (
            forecast_onset_h(vtt_material(sensitivity), t_c, WET_SURFACE_RH, MOST_H, result.state)
            if result
            else None
        )
    paused = sum(end - start for start, end in wet.frozen)
    end = max(wet.now_h * 1.1, wet.window_h * 1.25 + paused, 24.0)
    end = min(end, wet.now_h + MOST_H)
    chart = Chart((0, end), f"Hours since it got wet, {moment(wet.start, zone_of(book))}")
    most = max(1.25, wet.used(wet.stop_h) * 1.1)
    clock = chart.panel("Precautionary window, share used", 0, most)
    ahead = [] if dries or wet.still_frozen else _track(_index(wet, end, t_c, sensitivity))
    highest = max([value for _, value in (*_track(result), *ahead)], default=0.0)
    index = chart.panel("Mould index (VTT model, of 6)", 0, min(max(1.5, highest * 1.1), 6.0))
    for panel in (clock, index):
        for start, until in wet.frozen:
            panel.shade(start, min(until, end), FROZEN, "frozen")
        if 0 < wet.now_h < end:
            panel.moment(wet.now_h, "now")
        if dries:
            panel.moment(wet.stop_h, "drying began", SOFT, drop=1)
    steps = sorted(
        {0.0, wet.stop_h, *(edge for pair in wet.frozen for edge in pair if edge < wet.stop_h)}
    )
    clock.curve([(hour, wet.used(hour)) for hour in steps], CLOCK)
    chart.explain("line", "Share of the window used so far", CLOCK)
    clock.level(1.0, f"deadline: {wet.window_h:g} h unfrozen", LIMIT)
    track = _track(result)
    index.curve([(0.0, 0.0), *track], INDEX)
    chart.explain("line", "Index so far, surface supposed wet", INDEX)
    index.level(1.0, "1: first growth under a microscope", LIMIT)
    if not dries and not wet.still_frozen and wet.now_h < end:
        clock.curve([(wet.now_h, wet.used(wet.now_h)), (end, wet.used(end))], CLOCK, DASHES[1])
        index.curve([point for point in ahead if point[0] >= wet.now_h], INDEX, DASHES[1])
        chart.explain("line", "If it stays wet", INK, DASHES[1])
    if wet.frozen:
        chart.explain("shade", "Frozen: both stand still", FROZEN)
    reached = track[-1][1] if track else 0.0
    caption = _mould_caption(wet, sensitivity, reached, onset_h, dries)
    return Plot(
        chart.draw(f"Mould. {caption}"),
        caption,
        _MOULD_HEADS,
        _mould_rows(wet, track, piece, known),
    )


_MOULD_HEADS = ("Hours since wet", "Window used, %", "Hours left", "Index", "State")


def _wet(
    piece: Item,
    loss: Loss | None,
    frozen: Sequence[FrozenInterval],
    *,
    book: FacilityBook,
    now: datetime,
    known: Facts,
) -> _Wet | None:
    damages = [seen for seen in piece.damages if known.damages[seen.damage].mould_clock]
    by_loss = (loss.wet_since or loss.happened_at) if loss else None
    starts = [start for seen in damages if (start := seen.wet_since or by_loss) is not None]
    if not starts or min(starts) >= now:
        return None
    start = min(starts)
    t_c = float(loss.mean_temperature_c) if loss and loss.mean_temperature_c else None
    spans = sorted(
        (max(hours_between(start, one.start), 0.0), hours_between(start, min(one.end or now, now)))
        for one in frozen
        if one.start < now
    )
    joined: list[tuple[float, float]] = []
    for begin, until in spans:
        if joined and begin <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(joined[-1][1], until))
        elif until > begin:
            joined.append((begin, until))
    began = drying_began(piece, book)
    now_h = hours_between(start, now)
    stop_h = now_h if began is None else min(max(hours_between(start, began), 0.0), now_h)
    return _Wet(start, now_h, stop_h, tuple(joined), t_c, _window_h(t_c, known))


def _window_h(t_c: float | None, known: Facts) -> float:
    """The precautionary window that triage reckons with at this temperature, h."""
    if t_c is not None and t_c > known.constant(Constant.MOULD_WARM_ABOVE_C):
        return known.constant(Constant.MOULD_PRECAUTION_WARM_H)
    if t_c is not None and t_c < known.constant(Constant.MOULD_COLD_BELOW_C):
        return known.constant(Constant.MOULD_PRECAUTION_COLD_H)
    return known.constant(Constant.MOULD_PRECAUTION_H)


def _index(
    wet: _Wet, until_h: float, t_c: float, sensitivity: MouldSensitivity
) -> VttResult | None:
    """The VTT index hour by hour; a frozen hour is told to the model as one at 0 °C."""
    hours = range(min(ceil(until_h), MOST_H))
    if not hours:
        return None

    def temperature(hour: int) -> float:
        middle = hour + 0.5
        return 0.0 if any(start <= middle <= end for start, end in wet.frozen) else t_c

    series = SurfaceSeries(
        list(hours), [temperature(hour) for hour in hours], [WET_SURFACE_RH] * len(hours)
    )
    return vtt_index(series, vtt_material(sensitivity))


def _track(result: VttResult | None) -> list[Point]:
    """The index at the end of each hour."""
    if result is None:
        return []
    return [(float(hour), float(value)) for hour, value in enumerate(result.index, start=1)]


def _mould_caption(
    wet: _Wet, sensitivity: MouldSensitivity, reached: float, onset_h: float | None, dries: bool
) -> str:
    used = wet.used(wet.stop_h)
    words = sensitivity.value.replace("_", " ")
    air = f"{wet.t_c:g} °C" if wet.t_c is not None else f"{ROOM_C:g} °C, for want of a measurement"
    parts = [
        f"{used:.0%} of the precautionary window of {wet.window_h:g} h was used "
        + ("when drying began." if dries else "by now."),
        f"The model supposes the whole time a surface of the {words} class at 100 % RH and {air}: "
        f"nobody measured it. Its index stands at {reached:.2f}.",
    ]
    if wet.still_frozen:
        parts.append("It is frozen: both stand still, and go on where they stand once it thaws.")
    elif onset_h is not None and onset_h > 0:
        parts.append(f"If it stays wet, the model sees first growth in {span_words(onset_h)}.")
    elif dries:
        parts.append("The model is not run on through the drying, for nobody measures the surface.")
    parts.append("The model can only make the deadline earlier, never later.")
    return " ".join(parts)


def _mould_rows(
    wet: _Wet, track: Sequence[Point], piece: Item, known: Facts
) -> tuple[tuple[str, ...], ...]:
    index = dict([(0.0, 0.0), *track])
    last = wet.stop_h
    edges = {edge for pair in wet.frozen for edge in pair if edge <= last}
    hours = sorted({*np.linspace(0, last, 7).tolist(), *edges, last})
    return tuple(
        (
            f"{hour:.1f}",
            f"{wet.used(hour) * 100:.0f}",
            f"{(1 - wet.used(hour)) * wet.window_h:.1f}",
            f"{index.get(float(min(ceil(hour), MOST_H)), 0.0):.2f}",
            "frozen" if any(start <= hour < end for start, end in wet.frozen) else "wet",
        )
        for hour in hours
    )
