"""When the calendar of licensed people alone lets a run start.

Spans are half open, [start, end) in minutes, in order and apart from each other.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from scheduler.problem import Programme

Spans = Sequence[tuple[int, int]]


def asks_for_licence(programme: Programme) -> bool:
    """Whether a run of it needs a licensed person at any moment."""
    return bool(programme.needs_licence or programme.licence_after_min or programme.licence_at_end)


def merged(spans: Iterable[tuple[int, int]]) -> list[tuple[int, int]]:
    """The spans, which may overlap but begin in order, with those that touch made one."""
    found: list[tuple[int, int]] = []
    for start, end in spans:
        if found and start <= found[-1][1]:
            found[-1] = found[-1][0], max(found[-1][1], end)
        else:
            found.append((start, end))
    return found


def starts_by_moments(programme: Programme, licence: Spans) -> Spans | None:
    """Starts with a licensed person there at each moment asked for but the end; None: always."""
    moments = (*((0,) if programme.needs_licence else ()), *programme.licence_after_min)
    found: Spans | None = None
    for moment in moments:
        spans = merged((start - moment, end - moment) for start, end in licence)
        found = spans if found is None else _common(found, spans)
    return found


def licensed_starts(
    programme: Programme, licence: Spans, shortest: int, longest: int
) -> Spans | None:
    """Starts for which some length from `shortest` to `longest` has a licensed person there at
    each moment that the programme asks for; None: always, as it asks for none.
    """
    found = starts_by_moments(programme, licence)
    if programme.licence_at_end:
        ends = merged((start - longest, end - shortest) for start, end in licence)
        found = ends if found is None else _common(found, ends)
    return found


def _common(first: Spans, second: Spans) -> Spans:
    found, i, j = [], 0, 0
    while i < len(first) and j < len(second):
        start, end = max(first[i][0], second[j][0]), min(first[i][1], second[j][1])
        if start < end:
            found.append((start, end))
        if first[i][1] < second[j][1]:
            i += 1
        else:
            j += 1
    return found
