"""Work at the bench: which tasks a piece calls for, in what order, by what method, in how long.

Everything here is a proposal that a conservator changes and signs. Two refusals stand whoever
signs: a task before what must come first, and water on a ground that water dissolves. Where the
table leaves water to a conservator, the signed list gives the reason.
"""

from collections.abc import Collection, Iterable, Mapping, Sequence
from functools import lru_cache
from graphlib import TopologicalSorter

from pydantic import Field

from shared.facts import Facts, RoomSetPointRow, StudioCallRow, StudioMethodRow
from shared.treatments import Fixed, Refusal, Rule
from shared.vocabulary import (
    AreaResult,
    Damage,
    Material,
    ObjectType,
    Permission,
    SizeClass,
    StudioTask,
)

MOST_COUNTED = 12
"""Pieces under one tag that are reckoned one by one; more go by in the same hours. Ours."""


class BenchPiece(Fixed):
    """What the tables have to know of a piece: kind, materials, damage, largest face, count."""

    object_type: ObjectType
    materials: tuple[Material, ...]
    damages: tuple[Damage, ...] = ()
    face_m2: float = Field(gt=0)
    quantity: int = Field(default=1, ge=1)


class ProposedTask(Fixed):
    """A task the tables call for, with the first method the rules allow and the card's hours.

    ``method`` and ``hours`` are ``None`` where no method in the table may be proposed.
    ``refused`` says, method by method, why the earlier ones and those with water are not proposed.
    """

    task: StudioTask
    method: StudioMethodRow | None
    hours: float | None
    reasons: tuple[str, ...]
    test_first: bool
    refused: tuple[Refusal, ...] = ()


# --- order --------------------------------------------------------------------------------------


@lru_cache(maxsize=8)
def _before(
    pairs: tuple[tuple[StudioTask, StudioTask], ...],
) -> Mapping[StudioTask, frozenset[StudioTask]]:
    """For each task all that comes before it, at once or through others."""
    direct: dict[StudioTask, set[StudioTask]] = {task: set() for task in StudioTask}
    for before, after in pairs:
        direct[after].add(before)
    whole: dict[StudioTask, frozenset[StudioTask]] = {}
    for task in TopologicalSorter(direct).static_order():
        first = direct[task]
        whole[task] = frozenset(first).union(*(whole[one] for one in first))
    return whole


def comes_before(task: StudioTask, known: Facts) -> frozenset[StudioTask]:
    """Return every task that is done before ``task`` on a piece that needs both.

    Raises:
        graphlib.CycleError: if the table's rows go round in a circle.
    """
    return _before(tuple(known.studio_order))[task]


def in_order(tasks: Iterable[StudioTask], known: Facts) -> list[StudioTask]:
    """Return the tasks once each, every one after all that must come before it."""
    place = {task: number for number, task in enumerate(StudioTask)}
    return sorted(set(tasks), key=lambda one: (len(comes_before(one, known)), place[one]))


def why_waits(task: StudioTask, still_open: Collection[StudioTask], known: Facts) -> str | None:
    """Return what must be done before ``task``, in a sentence with the reason; or ``None``."""
    first = [one for one in in_order(still_open, known) if one in comes_before(task, known)]
    if not first:
        return None
    on_the_way = comes_before(task, known) | {task}
    reason = next(
        row.reason
        for row in sorted(
            known.studio_order.values(),
            key=lambda row: (row.after is not task, row.after not in first),
        )
        if row.before is first[0] and row.after in on_the_way
    )
    names = ", then ".join(one.label.lower() for one in first)
    return f"Not yet: {task.label.lower()}. First: {names}. {reason}"


# --- methods ------------------------------------------------------------------------------------


def methods_for(
    task: StudioTask, materials: Collection[Material], known: Facts
) -> list[StudioMethodRow]:
    """Return the table's methods of a task for any of the materials, the first to be proposed
    first, whatever the rules say of them.
    """
    groups = {known.ratings[material].room for material in materials}
    return [
        row
        for row in known.studio_methods.values()
        if row.task is task and groups.intersection(row.groups)
    ]


def why_not_method(
    method: StudioMethodRow, materials: Collection[Material], known: Facts
) -> tuple[Refusal, ...]:
    """Return why a method may not be used on a piece of these materials.

    The strictest of the materials counts: a piece is as delicate as its most delicate part.
    """
    found = [
        Refusal(
            rule=Rule.MATERIAL,
            sentence=f"{method.label}: never on {material.label.lower()}. Choose another method.",
            overridable=False,
            material=material,
        )
        for material in dict.fromkeys(materials)
        if material in method.never_on
    ]
    for material in dict.fromkeys(materials) if method.water_based else ():
        row = known.studio_grounds[material]
        if row.water is Permission.YES:
            continue
        mend = (
            "Choose a method without water."
            if row.water is Permission.NO
            else "Only on a conservator's word: write the reason beside it."
        )
        found.append(
            Refusal(
                rule=Rule.MATERIAL,
                sentence=f"No water here: {row.reason}. {mend}",
                overridable=row.water is Permission.CONSERVATOR,
                material=material,
            )
        )
    return tuple(found)


def damp_to_shun(
    materials: Collection[Material], known: Facts
) -> list[tuple[Material, RoomSetPointRow, str]]:
    """Return the materials whose ground damp air harms, each with its air and a caution."""
    found = []
    for material in dict.fromkeys(materials):
        row = known.studio_grounds[material]
        if row.shun_damp:
            air = known.room_set_points[known.ratings[material].room]
            words = (
                f"{row.ground[:1].upper()}{row.ground[1:]}: keep the air at "
                f"{air.rh_high_percent:g} % humidity or less. Damp softens the glue."
            )
            found.append((material, air, words))
    return found


# --- hours --------------------------------------------------------------------------------------


def size_of(face_m2: float, known: Facts) -> SizeClass:
    """Return how large a piece is at the bench by its largest face, m²."""
    return next(
        (
            size
            for size in SizeClass
            if size in known.studio_sizes and face_m2 <= known.studio_sizes[size].up_to_m2
        ),
        SizeClass.VERY_LARGE,
    )


def hours_for(method: StudioMethodRow, piece: BenchPiece, known: Facts) -> float:
    """Return the rate card's hours of a method for a whole piece.

    Of several materials the slowest counts.

    Raises:
        ValueError: if the method is for none of the piece's materials.
    """
    size = size_of(piece.face_m2, known)
    groups = {known.ratings[material].room for material in piece.materials}
    hours = [
        known.studio_rates[method.task, group].hours[size]
        for group in groups.intersection(method.groups)
    ]
    if not hours:
        raise ValueError(f"method: {method.label} is for none of this piece's materials")
    return max(hours) * min(piece.quantity, MOST_COUNTED)


# --- the proposal -------------------------------------------------------------------------------


def _calls(row: StudioCallRow, piece: BenchPiece) -> bool:
    return (
        (not row.object_types or piece.object_type in row.object_types)
        and (not row.materials or not set(row.materials).isdisjoint(piece.materials))
        and (not row.damages or not set(row.damages).isdisjoint(piece.damages))
    )


def propose(piece: BenchPiece, known: Facts) -> list[ProposedTask]:
    """Return the tasks that the tables call for, in an order in which they may be done.

    A task that no method in the table is for is left out. No method is proposed that the rules
    refuse or leave to a conservator.
    """
    reasons: dict[StudioTask, list[str]] = {}
    for row in known.studio_calls.values():
        if _calls(row, piece):
            reasons.setdefault(row.task, []).append(row.reason)
    found = []
    for task in in_order(reasons, known):
        methods = methods_for(task, piece.materials, known)
        if not methods:
            continue
        refused = {row.id: why_not_method(row, piece.materials, known) for row in methods}
        method = next((row for row in methods if not refused[row.id]), None)
        found.append(
            ProposedTask(
                task=task,
                method=method,
                hours=hours_for(method, piece, known) if method else None,
                reasons=tuple(reasons[task]),
                test_first=known.studio_tasks[task].test_first,
                refused=tuple(one for refusals in refused.values() for one in refusals),
            )
        )
    return found


def why_untested(task: StudioTask, results: Sequence[AreaResult], known: Facts) -> str | None:
    """Return why a task has to wait for a small test area, or ``None``.

    ``results`` are those of the same method on the same piece, in the order they were recorded:
    the last one counts.
    """
    if not known.studio_tasks[task].test_first:
        return None
    if not results:
        return (
            f"Not yet: {task.label.lower()}. Test a small area with this method first, "
            "and record it."
        )
    if results[-1] is not AreaResult.GOOD:
        return (
            f"Not yet: {task.label.lower()}. The last test area was not good. "
            "Test again, or choose another method."
        )
    return None
