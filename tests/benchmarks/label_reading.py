"""Which error correction level and which mask read best when a tag is dirty, wet or torn.

    python -m tests.benchmarks.label_reading --labels 60

Tags are written by the program itself, rendered at 200 dpi, damaged by
:mod:`tests.labels.damage` and given to two readers that share no code.  Every level gets the
same label, so a higher level means smaller modules; every level meets the same damage, seed by
seed.  Results go to ``LABELS.md`` and ``labels.svg`` beside this file.
"""

import argparse
import math
import os
import platform
import time
from collections.abc import Callable, Iterable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial
from importlib.metadata import version
from io import BytesIO
from pathlib import Path
from random import Random
from typing import Any, Final
from unittest.mock import patch

import numpy as np

from labels import sheets
from labels.codes import new_tags, tag_url
from labels.sheets import LAYOUTS, Box, write_tag_sheets
from labels.symbols import DEFAULT_LEVEL, QUIET_ZONE_MODULES, ErrorCorrection, make_symbol
from tests.labels.damage import DAMAGES, SEVERITIES, Picture, photographed, picture_of
from tests.labels.pdf_reading import page_images, qr_texts
from tests.labels.second_reader import opencv_text

DPI: Final = 200
LAYOUT: Final = LAYOUTS["letter-3x10"]
"""The smallest label of the named sheets, so the hardest to read."""
BASES: Final = {
    "short address": "https://tags.example",
    "long address": "https://tags.conservation.example",
}
HERE: Final = Path(__file__).parent


def _first(texts: list[str]) -> str:
    return texts[0] if texts else ""


READERS: Final[dict[str, Callable[[Any], str]]] = {
    "zxing-cpp": lambda grey: _first(qr_texts(grey)),
    "OpenCV": opencv_text,
}


@dataclass(frozen=True)
class Case:
    """One way to make the symbols."""

    base: str
    level: ErrorCorrection
    fixed_mask: int | None = None

    def __str__(self) -> str:
        mask = "" if self.fixed_mask is None else f", mask always {self.fixed_mask}"
        return f"{self.base}, {self.level}{mask}"


@dataclass(frozen=True)
class Made:
    """The sound labels of one case, each with what must be read from it."""

    symbol_version: int
    module_mm: float
    pictures: tuple[Picture, ...]
    texts: tuple[str, ...]


def sound_labels(case: Case, count: int) -> Made:
    """Write, render and cut out the labels of one case."""
    tags = new_tags(count, Random(7).choice)
    base = BASES[case.base]
    file = BytesIO()
    chosen = partial(make_symbol, mask=case.fixed_mask)
    with patch.object(sheets, "make_symbol", chosen):
        printed = write_tag_sheets(file, tags, LAYOUT, base, level=case.level)
    scale = DPI / 25.4
    quiet = QUIET_ZONE_MODULES * printed.module_mm
    inner = printed.symbol_mm - 2 * quiet
    symbol = Box(sheets.PADDING_MM + quiet, (LAYOUT.label_height - inner) / 2, inner, inner)
    pictures = []
    for page, image in enumerate(page_images(file.getvalue(), DPI)):
        whole = np.asarray(image)
        for position in range(min(LAYOUT.labels_per_page, count - page * LAYOUT.labels_per_page)):
            box = LAYOUT.label(position)
            top = LAYOUT.page_height - box.y - box.height
            rows = slice(round(top * scale), round((top + box.height) * scale))
            columns = slice(round(box.x * scale), round((box.x + box.width) * scale))
            pictures.append(picture_of(whole[rows, columns], symbol, scale))
    return Made(
        printed.symbol_version,
        printed.module_mm,
        tuple(pictures),
        tuple(tag_url(base, tag) for tag in tags),
    )


Cell = tuple[str, str, int]
"""Reader, damage, severity (1 to 5)."""


@dataclass(frozen=True)
class Outcome:
    """How many labels of one case were read."""

    case: Case
    symbol_version: int
    module_mm: float
    labels: int
    read: dict[Cell, int]
    misread: int

    def rate(
        self, reader: str | None = None, kind: str | None = None, severity: int | None = None
    ) -> float:
        """Share read, of one reader, damage or severity or of all."""
        wanted = (reader, kind, severity)
        counts = [
            count
            for cell, count in self.read.items()
            if all(want in {None, is_} for want, is_ in zip(wanted, cell, strict=True))
        ]
        return sum(counts) / (len(counts) * self.labels)


def study(case: Case, count: int) -> Outcome:
    """Damage and read every label of one case in every way there is."""
    made = sound_labels(case, count)
    read = {
        (reader, kind, severity): 0
        for reader in READERS
        for kind in DAMAGES
        for severity in SEVERITIES
    }
    misread = 0
    for number, (picture, text) in enumerate(zip(made.pictures, made.texts, strict=True)):
        for order, kind in enumerate(DAMAGES):
            for severity in SEVERITIES:
                # Without the case in the seed: every case meets the same damage.
                seed = (number * len(DAMAGES) + order) * 10 + severity
                grey = photographed(picture, kind, severity, seed)
                for reader, reads in READERS.items():
                    got = reads(grey)
                    read[reader, kind, severity] += got == text
                    misread += got not in {"", text}
    return Outcome(case, made.symbol_version, made.module_mm, count, read, misread)


def standard_error(rate: float, trials: int) -> float:
    """Of a share of so many trials taken as independent."""
    return math.sqrt(rate * (1 - rate) / trials)


# --- the report ------------------------------------------------------------------------------


def _per_cent(share: float) -> str:
    return f"{100 * share:.1f}"


def summary_table(outcomes: Iterable[Outcome]) -> list[str]:
    """One line a case: what is printed and how much of it is read."""
    lines = [
        "| symbols | QR version | module mm | "
        + " | ".join(f"{reader} %" for reader in READERS)
        + " | mean % | ± | wrong texts |",
        "|---|---:|---:|" + "---:|" * (len(READERS) + 3),
    ]
    for one in outcomes:
        rates = [one.rate(reader) for reader in READERS]
        error = standard_error(one.rate(), one.labels * len(one.read))
        lines.append(
            f"| {one.case} | {one.symbol_version} | {one.module_mm:g} | "
            + " | ".join(map(_per_cent, rates))
            + f" | {_per_cent(one.rate())} | {_per_cent(error)} | {one.misread} |"
        )
    return lines


def damage_table(outcomes: Iterable[Outcome]) -> list[str]:
    """One line for each case and damage, the mean of the readers at each severity."""
    lines = [
        "| symbols | damage | " + " | ".join(f"severity {n}" for n in SEVERITIES) + " | mean |",
        "|---|---|" + "---:|" * (len(SEVERITIES) + 1),
    ]
    for one in outcomes:
        for kind in DAMAGES:
            rates = [one.rate(kind=kind, severity=n) for n in SEVERITIES]
            mean = sum(rates) / len(rates)
            lines.append(
                f"| {one.case} | {kind} | " + " | ".join(map(_per_cent, [*rates, mean])) + " |"
            )
    return lines


STROKES: Final = {
    ErrorCorrection.L: ("#8a4b00", "2 3", "square"),
    ErrorCorrection.M: ("#00429d", "", "circle"),
    ErrorCorrection.Q: ("#1a7f37", "7 3", "up"),
    ErrorCorrection.H: ("#a1006b", "9 3 2 3", "down"),
}
"""Colour, dash and mark of each level, so that no two are told apart by colour alone."""

PANEL_W, PANEL_H, GAP, LEFT, TOP = 150, 120, 26, 60, 64


def _mark(shape: str, x: float, y: float, colour: str) -> str:
    if shape == "circle":
        return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="3.4" fill="{colour}"/>'
    if shape == "square":
        return f'<rect x="{x - 3:.1f}" y="{y - 3:.1f}" width="6" height="6" fill="{colour}"/>'
    tip = -4 if shape == "up" else 4
    points = f"{x - 4:.1f},{y - tip:.1f} {x + 4:.1f},{y - tip:.1f} {x:.1f},{y + tip:.1f}"
    return f'<polygon points="{points}" fill="{colour}"/>'


def _text(x: float, y: float, words: str, *, anchor: str = "start", size: int = 12) -> str:
    return f'<text x="{x:.1f}" y="{y:.1f}" font-size="{size}" text-anchor="{anchor}">{words}</text>'


def _curve(outcome: Outcome, reader: str, kind: str, left: float, top: float) -> list[str]:
    colour, dash, shape = STROKES[outcome.case.level]
    points = []
    for severity in SEVERITIES:
        share = outcome.read[reader, kind, severity] / outcome.labels
        across = (severity - SEVERITIES[0]) / (len(SEVERITIES) - 1)
        points.append((left + 8 + across * (PANEL_W - 16), top + PANEL_H * (1 - share)))
    path = " ".join(f"{x:.1f},{y:.1f}" for x, y in points)
    line = (
        f'<polyline points="{path}" fill="none" stroke="{colour}" stroke-width="1.8" '
        f'stroke-dasharray="{dash}"/>'
    )
    return [line, *(_mark(shape, x, y, colour) for x, y in points)]


def _panel(outcomes: list[Outcome], reader: str, kind: str, left: float, top: float) -> list[str]:
    lines = []
    for share in (0.0, 0.5, 1.0):
        y = top + PANEL_H * (1 - share)
        lines.append(f'<path d="M{left} {y}h{PANEL_W}" stroke="#bbb" stroke-width="0.8"/>')
    for one in outcomes:
        lines += _curve(one, reader, kind, left, top)
    return lines


def plot(outcomes: list[Outcome]) -> str:
    """Read rate against severity as SVG: a panel for each reader and damage, a line a level."""
    width = LEFT + len(DAMAGES) * (PANEL_W + GAP)
    height = TOP + len(READERS) * (PANEL_H + GAP) + 30
    lines = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" role="img" '
        'font-family="sans-serif" fill="#111">',
        "<title>Share of labels read, by damage, severity and error correction level</title>",
        f'<rect width="{width}" height="{height}" fill="#fff"/>',
    ]
    for number, one in enumerate(outcomes):
        x = float(LEFT + number * 170)
        colour, dash, shape = STROKES[one.case.level]
        lines.append(
            f'<path d="M{x} 18h36" stroke="{colour}" stroke-width="1.8" stroke-dasharray="{dash}"/>'
        )
        lines.append(_mark(shape, x + 18, 18, colour))
        lines.append(_text(x + 42, 22, f"{one.case.level}, module {one.module_mm:g} mm"))
    for row, reader in enumerate(READERS):
        top = TOP + row * (PANEL_H + GAP)
        for share in (0, 50, 100):
            lines.append(
                _text(LEFT - 6, top + PANEL_H * (1 - share / 100) + 4, f"{share} %", anchor="end")
            )
        for column, kind in enumerate(DAMAGES):
            left = LEFT + column * (PANEL_W + GAP)
            lines.append(_text(left, top - 6, f"{kind}, {reader}"))
            lines += _panel(outcomes, reader, kind, left, top)
            if row == len(READERS) - 1:
                for severity in SEVERITIES:
                    across = (severity - 1) / (len(SEVERITIES) - 1)
                    x = left + 8 + across * (PANEL_W - 16)
                    lines.append(_text(x, top + PANEL_H + 16, str(severity), anchor="middle"))
    lines.append(_text(LEFT, height - 8, "severity of the damage, 1 to 5"))
    return "\n".join([*lines, "</svg>", ""])


def report(
    by_address: dict[str, list[Outcome]],
    fixed: list[Outcome],
    options: argparse.Namespace,
    picture: str,
) -> str:
    """The whole report in Markdown."""
    every = [one for outcomes in by_address.values() for one in outcomes]
    best = {
        base: max(outcomes, key=lambda one: one.rate()) for base, outcomes in by_address.items()
    }
    default = [one for one in every if one.case.level is DEFAULT_LEVEL]
    masks = " ".join(map(str, options.masks))
    head = [
        "# Which tags can still be read",
        "",
        f"`python -m tests.benchmarks.label_reading --labels {options.labels} --workers "
        f"{options.workers} --masks {masks}`, {os.cpu_count()} cores, {platform.machine()}, Python "
        f"{platform.python_version()}; qrcode {version('qrcode')}, zxing-cpp "
        f"{version('zxing-cpp')}, OpenCV {version('opencv-python-headless')}.",
        "",
        f"{options.labels} labels for each line, cut from the {LAYOUT.name} PDF "
        f"({LAYOUT.label_width:g} × {LAYOUT.label_height:g} mm, the smallest of the named sheets) "
        f"rendered at {DPI} dpi, each damaged in {len(DAMAGES)} ways at {len(SEVERITIES)} "
        f"severities: {options.labels * len(DAMAGES) * len(SEVERITIES)} pictures a line, each "
        "given to both readers. Every label is also turned by up to 15° and noisy. At equal size a "
        "higher level has more and so smaller modules; the damage is the same for all, seed by "
        "seed. The damage is simulated by models of our own: good for comparing levels, not for "
        "foretelling how many tags of a real fire can be read. ± is one standard error, pictures "
        "taken as independent.",
        "",
        "## Levels",
        "",
        *summary_table(every),
        "",
        "Read best: "
        + "; ".join(
            f"{base}, level {one.case.level} ({_per_cent(one.rate())} %)"
            for base, one in best.items()
        )
        + f". Lagan prints level {DEFAULT_LEVEL}: "
        + ", ".join(_per_cent(one.rate()) + " %" for one in default)
        + ". A difference below two standard errors is no difference: a tie stays with the present "
        "level.",
        "",
        f"![Share of labels read by damage, severity and level]({picture})",
        "",
        "## Masks",
        "",
        "qrcode's own choice of mask draws the symbol eight times and counts the penalty of each. "
        "Lagan draws it once, turns it into the other seven by the difference of the masks, which "
        "does not depend on the data, and counts the penalties of ISO/IEC 18004 on all eight with "
        "format information in place; a test compares every count and every choice with "
        "qrcode's. The mask of least penalty stays the choice: a fixed one would save little time, "
        "and the standard's rule holds for readers not tried here.",
        "",
        *summary_table([one for one in by_address["short address"] if one in default] + fixed),
        "",
        "## A thousand tags",
        "",
        "Processor seconds to write the PDF, least of three, bar 2 s.",
        "",
        *time_table(),
        "",
        "## By damage",
        "",
        "Mean of the two readers, % read.",
        "",
        *damage_table(every),
        "",
    ]
    return "\n".join(head)


# --- time ------------------------------------------------------------------------------------


def seconds_for_a_thousand(layout: str, fixed_mask: int | None) -> float:
    """Least processor time of three runs to write a thousand tags, in seconds."""
    tags = new_tags(1_000, Random(1).choice)
    chosen = partial(make_symbol, mask=fixed_mask)
    taken = []
    with patch.object(sheets, "make_symbol", chosen):
        for _ in range(3):
            start = time.process_time()
            write_tag_sheets(BytesIO(), tags, LAYOUTS[layout], BASES["short address"])
            taken.append(time.process_time() - start)
    return min(taken)


def time_table() -> list[str]:
    """Time by layout and by how the mask is chosen."""
    lines = [
        "| layout | mask of least penalty, s | mask always 0, s |",
        "|---|---:|---:|",
    ]
    for layout in ("a4-3x8", "a4-2x5-tie-on"):
        chosen, fixed = (seconds_for_a_thousand(layout, mask) for mask in (None, 0))
        lines.append(f"| {layout} | {chosen:.2f} | {fixed:.2f} |")
    return lines


def main() -> None:
    """Run the study and write its report and its plot."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.label_reading")
    parser.add_argument("--labels", type=int, default=60, help="labels for each case")
    parser.add_argument("--workers", type=int, default=os.cpu_count(), help="cases at once")
    parser.add_argument("--masks", type=int, nargs="*", default=[0], help="masks to try fixed")
    parser.add_argument("--out", type=Path, default=HERE / "LABELS.md")
    options = parser.parse_args()

    free = [Case(base, level) for base in BASES for level in ErrorCorrection]
    fixed = [Case("short address", DEFAULT_LEVEL, mask) for mask in options.masks]
    with ProcessPoolExecutor(options.workers) as pool:
        found = dict(
            zip(
                [*free, *fixed],
                pool.map(study, [*free, *fixed], [options.labels] * len([*free, *fixed])),
                strict=True,
            )
        )
    by_address = {base: [found[case] for case in free if case.base == base] for base in BASES}
    picture = options.out.with_name("labels.svg")
    picture.write_text(plot(by_address["short address"]))
    options.out.write_text(
        report(by_address, [found[case] for case in fixed], options, picture.name)
    )
    print(options.out)


if __name__ == "__main__":
    main()
