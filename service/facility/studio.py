"""Studio work on the record: what the log refuses of it, what is next on a piece, and on whom
that waits.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from sqlmodel import Session

from service.assessing import needed_steps
from service.facility.bodies import face_m2
from service.log import reading
from shared import events as ev
from shared.facts import Facts
from shared.records import Item
from shared.studio import (
    BenchPiece,
    comes_before,
    damp_to_shun,
    in_order,
    methods_for,
    why_not_method,
    why_untested,
    why_waits,
)
from shared.treatments import legal_next
from shared.vocabulary import Permission, Role, StepKind, StudioTask

LEAST_FACE_M2 = 1e-6
"""A face that was measured as nothing still has to be reckoned with."""


def bench_piece(item: Item, known: Facts) -> BenchPiece:
    """What the studio tables have to know of a piece."""
    return BenchPiece(
        object_type=item.object_type,
        materials=tuple(item.materials),
        damages=tuple(seen.damage for seen in item.damages),
        face_m2=max(face_m2(item, known), LEAST_FACE_M2),
        quantity=item.quantity,
    )


def hours_left(item: Item) -> Decimal:
    """Hours of the tasks that are still open on a piece's list."""
    return sum((Decimal(one.hours) for one in item.studio.open), Decimal(0))


# --- what the log refuses -----------------------------------------------------------------------


def why_not_listed(
    session: Session, event: ev.Event, body: ev.StudioPlanned, known: Facts
) -> str | None:
    """Why a list must not be signed so, or ``None``."""
    if event.role is not Role.CONSERVATOR:
        return "role: only a conservator may sign a studio list"
    item = reading.item(session, reading.EVERYTHING, body.tag)
    if item is None:
        return f"tag: no piece carries the tag {body.tag}; scan it again"
    if body.after != item.studio.listed:
        return "Somebody has signed another list since you opened this page. Look, then sign again."
    for one in body.tasks:
        problem = _why_not_task(item, one, known)
        if problem is not None:
            return problem
    return None


def _why_not_task(item: Item, planned: ev.PlannedTask, known: Facts) -> str | None:
    refused = _why_not_way(item, planned.task, planned.method, known, planned.override)
    if refused is not None:
        return f"{planned.task.label}: {refused}"
    later = in_order(
        (one.task for one in item.studio.done if planned.task in comes_before(one.task, known)),
        known,
    )
    if later and not planned.override:
        return (
            f"{planned.task.label} comes before what is done already: "
            f"{', '.join(one.label.lower() for one in later)}. Write the reason beside it."
        )
    return None


def _why_not_way(
    item: Item, task: StudioTask, method: str, known: Facts, override: str
) -> str | None:
    """Why a method may not be used for a task; ``override`` is a conservator's reason."""
    row = known.studio_methods.get(method)
    if row is None or row.task is not task:
        return f"there is no method {method} for it. Choose one from the list."
    if row not in methods_for(task, item.materials, known):
        return f"{row.label}: not for what this piece is made of. Choose another method."
    return next(
        (
            refusal.sentence
            for refusal in why_not_method(row, item.materials, known)
            if not (refusal.overridable and override)
        ),
        None,
    )


def why_not_done(session: Session, body: ev.StudioTaskDone, known: Facts) -> str | None:
    """Why a task can't be recorded as done, or ``None``."""
    item = reading.item(session, reading.EVERYTHING, body.tag)
    if item is None:
        return f"tag: no piece carries the tag {body.tag}; scan it again"
    planned = item.studio.planned(body.task)
    if planned is None:
        return (
            f"{body.task.label} is not open on this piece's studio list. "
            "A conservator signs it onto the list first."
        )
    waits = (
        why_too_early(item, known)
        or why_waits(body.task, item.studio.open_tasks, known)
        or _why_apart(session, item, body.task)
    )
    if waits is not None:
        return waits
    as_listed = body.method == planned.method
    refused = _why_not_way(
        item, body.task, body.method, known, planned.override if as_listed else ""
    )
    return refused or why_untested(body.task, item.studio.results(body.task, body.method), known)


def why_too_early(item: Item, known: Facts) -> str | None:
    """Why the studio has to wait for the steps before it, or ``None``."""
    left = legal_next(item.steps_done, [need.step for need in needed_steps(item, known)], known)
    return next(
        (one.reason for one in left if one.step is StepKind.STUDIO and not one.allowed), None
    )


def _why_apart(session: Session, item: Item, task: StudioTask) -> str | None:
    """A piece is fitted when its frame and its other parts are finished too."""
    if task is not StudioTask.FIT:
        return None
    for part in reading.parts_of(session, reading.EVERYTHING, item.tag):
        left = [one for one in part.studio.open_tasks if one is not StudioTask.FIT]
        if left:
            name = part.title or (part.role.label if part.role else part.object_type.label)
            tasks = ", ".join(one.label.lower() for one in left)
            return f"Not yet: fit into the frame. First finish {name}: {tasks}."
    return None


def why_not_withdrawn(
    session: Session, event: ev.Event, body: ev.StudioTaskWithdrawn
) -> str | None:
    """Why a task can't be taken off a list, or ``None``."""
    if event.role is not Role.CONSERVATOR:
        return "role: only a conservator may take a task off a signed list"
    item = reading.item(session, reading.EVERYTHING, body.tag)
    if item is None or item.studio.planned(body.task) is None:
        return f"{body.task.label} is not open on this piece's studio list. Nothing is left to do."
    return None


def why_not_over(session: Session, body: ev.StepDone) -> str | None:
    """Why the studio step can't be recorded as finished, or ``None``."""
    item = reading.item(session, reading.EVERYTHING, body.tag)
    if item is None or body.step is not StepKind.STUDIO or not item.studio.open:
        return None
    left = ", ".join(one.label.lower() for one in item.studio.open_tasks)
    return f"The studio list is still open: {left}. Do it, or have it taken off the list."


# --- what is next -------------------------------------------------------------------------------


@dataclass(frozen=True)
class AtBench:
    """Where a piece stands in the studio: what is next, whether it may be, and who has to act.

    ``task`` is ``None`` while no list is signed, and once everything on it is done. Hours are those
    of the list: of the next task, and of all that is open.
    """

    task: StudioTask | None
    ready: bool
    words: str
    who: str
    listed: bool
    cautions: tuple[str, ...]
    next_h: Decimal = Decimal(0)
    left_h: Decimal = Decimal(0)


def at_bench(item: Item, remaining: Sequence[StepKind], known: Facts) -> AtBench | None:
    """What is next on a piece in the studio; ``None`` if it has nothing to do there.

    ``remaining`` are the steps it still needs.
    """
    sheet = item.studio
    if StepKind.STUDIO not in remaining:
        return None
    listed = sheet.listed is not None
    cautions = cautions_at_bench(item, known)
    early = why_too_early(item, known)
    if not sheet.open:
        words, who = "No studio list is signed.", "Conservator"
        if listed:
            words = "The list is done: record that the studio treatment is finished."
            who = "Lead"
        return AtBench(None, early is None, words, who, listed, cautions)
    task = in_order(sheet.open_tasks, known)[0]
    planned = next(one for one in sheet.open if one.task is task)
    untested = why_untested(task, sheet.results(task, planned.method), known)
    words, who = f"Next: {task.label.lower()}.", "Bench"
    if early is not None or untested is not None:
        words, who = early or untested or "", "Lead" if early else "Conservator"
    return AtBench(
        task,
        early is None and untested is None,
        words,
        who,
        listed,
        cautions,
        Decimal(planned.hours),
        hours_left(item),
    )


def cautions_at_bench(item: Item, known: Facts) -> tuple[str, ...]:
    """What to mind on a piece at the bench: water that must not come near, and damp air."""
    dry = [
        f"No water: {row.reason}."
        for row in (known.studio_grounds[material] for material in item.materials)
        if row.water is Permission.NO
    ]
    damp = [words for _, _, words in damp_to_shun(item.materials, known)]
    return tuple(dict.fromkeys([*dry, *damp]))
