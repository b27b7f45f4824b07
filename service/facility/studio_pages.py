"""The studio's pages: what the bench does next; a piece's list, test areas and finished work."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation

from fastapi import APIRouter, HTTPException, Request, Response
from fastapi.responses import HTMLResponse
from pydantic import BaseModel, ValidationError
from starlette.datastructures import FormData

from service.assessing import remaining_steps
from service.crew.routes import TagPath
from service.facility.drawing import draw, kept_photo, plan_in_use, say, zone
from service.facility.form_route import FormRoute, Sent, back, typed_in
from service.facility.plans import timed
from service.facility.studio import at_bench, bench_piece, cautions_at_bench, hours_left
from service.facility.today import Standing
from service.facility.today_pages import TodayDesk
from service.installation import Installation
from service.log import reading
from service.log.reading import EVERYTHING
from service.log.routes import Here
from shared import events as ev
from shared.facts import Facts
from shared.records import Item
from shared.studio import (
    hours_for,
    in_order,
    methods_for,
    propose,
    why_not_method,
    why_untested,
    why_waits,
)
from shared.vocabulary import AreaResult, PhotoKind, Role, StepKind, StudioTask

router = APIRouter(tags=["facility"], include_in_schema=False, route_class=FormRoute)

MOST_SHOWN = 60
MOST_HOURS = 1000
Fault = tuple[str, str]


# --- the bench ----------------------------------------------------------------------------------


@router.get("/facility/studio")
def bench(request: Request, here: Here) -> HTMLResponse:
    """What is next on every piece, in the order of the plan, then by how much it matters."""
    now = here.now()
    desk: TodayDesk = request.app.state.today_desk
    with here.database.read() as session:
        book = reading.facility(session)
        pieces = [one for one in desk.pieces.now(session, book, now, here.facts) if one.studio]
        plan = desk.plan(here, session, book)
    starts = {
        one.placement.item: one.starts
        for one in reversed(timed(*plan) if plan else [])
        if one.placement.step.partition("-")[0] == StepKind.STUDIO.value
    }

    def order(one: Standing) -> tuple[bool, float, float, str]:
        planned = starts.get(one.tag)
        return (planned is None, planned.timestamp() if planned else 0, -one.score, one.title)

    here_now = sorted((one for one in pieces if one.remaining[0] is StepKind.STUDIO), key=order)
    listed = [one for one in here_now if one.studio and one.studio.listed]
    unlisted = [one for one in here_now if one.studio and not one.studio.listed]
    return draw(
        request,
        "studio.html",
        listed=listed[:MOST_SHOWN],
        unlisted=unlisted[:MOST_SHOWN],
        more=[max(0, len(found) - MOST_SHOWN) for found in (listed, unlisted)],
        counts=(len(listed), len(unlisted), len(pieces) - len(here_now)),
        hours=sum((one.studio.left_h for one in listed if one.studio), Decimal(0)),
        starts=starts,
        zone=zone(book),
    )


# --- one piece ----------------------------------------------------------------------------------


@dataclass(frozen=True)
class ListedTask:
    """A task that is open on a piece's list, and what it waits for."""

    planned: ev.PlannedTask
    method: str
    waits: str


@dataclass(frozen=True)
class FormTask:
    """A task as the form of a list offers it.

    ``methods`` leaves out what nobody may lift; ``by_word``: some are left to a conservator.
    """

    task: StudioTask
    reasons: str
    ticked: bool
    methods: Sequence[tuple[str, str]]
    by_word: bool
    method: str
    hours: str
    override: str


def _listed(item: Item, known: Facts) -> list[ListedTask]:
    sheet = item.studio
    found = []
    for task in in_order(sheet.open_tasks, known):
        planned = next(one for one in sheet.open if one.task is task)
        waits = why_waits(task, sheet.open_tasks, known) or why_untested(
            task, sheet.results(task, planned.method), known
        )
        found.append(ListedTask(planned, _label(planned.method, known), waits or ""))
    return found


def _label(method: str, known: Facts) -> str:
    row = known.studio_methods.get(method)
    return row.label if row else method


def _methods(item: Item, task: StudioTask, known: Facts) -> list[tuple[str, str, bool]]:
    """The methods somebody may choose: key, words, and whether it takes a conservator's word."""
    found = []
    for row in methods_for(task, item.materials, known):
        refusals = why_not_method(row, item.materials, known)
        if all(one.overridable for one in refusals):
            words = f"{row.label} (on a conservator's word)" if refusals else row.label
            found.append((row.id, words, bool(refusals)))
    return found


def _form_tasks(item: Item, known: Facts, typed: dict[str, list[str]]) -> list[FormTask]:
    piece = bench_piece(item, known)
    proposed = {one.task: one for one in propose(piece, known)}
    found = []
    for task in in_order(StudioTask, known):
        methods = _methods(item, task, known)
        if not methods:
            continue
        called, planned = proposed.get(task), item.studio.planned(task)
        first = called.method.id if called and called.method else methods[0][0]
        method = planned.method if planned else first
        hours = (
            planned.hours
            if planned
            else f"{hours_for(known.studio_methods[first], piece, known):g}"
        )
        fields = {"method": method, "hours": hours, "override": planned.override if planned else ""}
        fields |= {name: typed[f"{name}-{task}"][0] for name in fields if f"{name}-{task}" in typed}
        ticked = planned is not None if item.studio.listed else called is not None
        found.append(
            FormTask(
                task=task,
                reasons=" ".join(
                    [*(called.reasons if called else ()), known.studio_tasks[task].does]
                ),
                ticked=task.value in typed.get("task", []) if typed else ticked,
                methods=[(key, words) for key, words, _ in methods],
                by_word=any(by_word for _, _, by_word in methods),
                **fields,
            )
        )
    return found


def _draw_piece(
    request: Request,
    here: Installation,
    tag: str,
    form: "_Typed | None" = None,
) -> HTMLResponse:
    """The studio page of a piece; what was typed in a form comes back with what is wrong."""
    known = here.facts
    with here.database.read() as session:
        item = reading.item(session, EVERYTHING, tag)
        if item is None:
            raise HTTPException(404, f"no piece carries the tag {tag}")
        book = reading.facility(session)
        plan = plan_in_use(here, session)
    typed = form.fields if form else {}
    faults = form.faults if form else []
    name = form.name if form else ""
    tasks = _form_tasks(item, known, typed if name == "list" else {})
    listed = _listed(item, known)
    offered = {one.task: one.methods for one in tasks}
    standing = at_bench(item, remaining_steps(item, known), known)
    return draw(
        request,
        "studio_piece.html",
        422 if faults else 200,
        item=item,
        standing=standing,
        listed=listed,
        left=hours_left(item),
        cautions=cautions_at_bench(item, known),
        tasks=tasks,
        uncalled=[
            one.task.label
            for one in propose(bench_piece(item, known), known)
            if one.task not in offered
        ],
        to_test=[
            (f"{task}/{key}", f"{task.label}: {words}")
            for task, methods in offered.items()
            if known.studio_tasks[task].test_first
            for key, words in methods
        ],
        to_do=[(one.planned.task.value, one.planned.task.label) for one in listed],
        other_methods=[
            (key, f"{one.planned.task.label}: {words}")
            for one in listed
            for key, words in offered.get(one.planned.task, ())
            if key != one.planned.method
        ],
        results=[(one.value, one.label) for one in AreaResult],
        methods={key: row.label for key, row in known.studio_methods.items()},
        spent=sum((Decimal(one.hours) for one in item.studio.done), Decimal(0)),
        placed=[
            one
            for one in (timed(*plan) if plan else [])
            if one.placement.item == item.tag
            and one.placement.step.partition("-")[0] == StepKind.STUDIO.value
        ],
        zone=zone(book),
        form=name,
        typed={field: values[0] for field, values in typed.items() if values},
        summary=[("-".join(filter(None, (name, field))), why) for field, why in faults],
        errors=dict(reversed(faults)),
    )


@router.get("/facility/studio/{tag}")
def piece(request: Request, tag: TagPath, here: Here) -> HTMLResponse:
    """A piece at the bench: what is next, its list, its test areas, what was done."""
    return _draw_piece(request, here, tag)


# --- recording ----------------------------------------------------------------------------------


def _hours(text: str) -> str | None:
    """Hours as the record keeps them; ``None`` when they are none."""
    try:
        value = Decimal(text.strip().replace(",", "."))
    except InvalidOperation:
        return None
    if not value.is_finite() or not 0 < value < MOST_HOURS:
        return None
    return f"{value.normalize():f}"


class _Typed:
    """One of the page's forms as typed, with what is wrong in it."""

    def __init__(self, name: str, here: Installation, sent: FormData) -> None:
        self.name, self.here, self.sent, self.fields = name, here, sent, typed_in(sent)
        self.faults: list[Fault] = []

    def text(self, name: str, missing: str = "") -> str:
        """A field without blanks around it; ``missing`` is what is wrong when it is empty."""
        value = (self.fields.get(name) or [""])[0].strip()
        if missing and not value:
            self.faults.append((name, missing))
        return value

    def hours(self, name: str, of: str) -> str:
        """Hours of work, or the fault noted."""
        found = _hours(self.text(name))
        if found is None:
            self.faults.append((name, f"{of}: write the hours of work, such as 1.5."))
        return found or ""

    def task(self, name: str, value: str) -> StudioTask | None:
        """A task that was chosen, or the fault noted."""
        try:
            return StudioTask(value)
        except ValueError:
            self.faults.append((name, "Task: choose one from the list."))
            return None

    def photo(self) -> str | None:
        """The photo that came along, kept before anything is refused; ``None`` without one."""
        upload = self.sent.get("picture")
        if upload is not None and not isinstance(upload, str) and upload.size:
            digest, problem = kept_photo(self.here, upload.file.read())
            if problem:
                self.faults.append(("picture", f"picture: {problem}"))
            self.fields["kept"] = [digest]
        return self.text("kept") or None

    def record(self, role: Role, actor: str, make: Callable[[], Sequence[BaseModel]]) -> None:
        """Record what ``make`` gives, all or none, unless something is wrong already."""
        if self.faults:
            return
        try:
            problem = say(self.here, make(), actor, role)
        except ValidationError as error:
            problem = ev.describe(error)
        if problem:
            self.faults.append(("", problem))


WHO = "Name: say who you are, so that the record can."


@router.post("/facility/studio/{tag}/list")
def sign_list(request: Request, tag: TagPath, here: Here, sent: Sent) -> Response:
    """A conservator signs what is to be done."""
    form = _Typed("list", here, sent)
    signed_by = form.text("signed_by", WHO)
    tasks = [form.task("task", value) for value in form.fields.get("task", [])]
    chosen = [one for one in tasks if one is not None]
    if not tasks:
        form.faults.append(("task", "List: choose one task at the least."))
    hours = {one: form.hours(f"hours-{one}", one.label) for one in chosen}

    def bodies() -> Sequence[BaseModel]:
        planned = tuple(
            ev.PlannedTask(
                task=one,
                method=form.text(f"method-{one}"),
                hours=hours[one],
                override=form.text(f"override-{one}"),
            )
            for one in chosen
        )
        return [
            ev.StudioPlanned(
                tag=tag,
                tasks=planned,
                signed_by=signed_by,
                note=form.text("note"),
                after=form.text("after") or None,
            )
        ]

    form.record(Role.CONSERVATOR, signed_by, bodies)
    return _answer(request, here, tag, form)


@router.post("/facility/studio/{tag}/tested")
def record_area(request: Request, tag: TagPath, here: Here, sent: Sent) -> Response:
    """A method was tried on a small area."""
    form = _Typed("tested", here, sent)
    named, _, method = form.text("way", "Method: choose the one that was tried.").partition("/")
    task = form.task("way", named) if named else None
    spot = form.text("spot", "Where: say which small area was tried.")
    result = form.text("result", "Result: say how it came out.")
    tested_by = form.text("tested_by", WHO)
    photo = form.photo()

    def bodies() -> Sequence[BaseModel]:
        body = ev.StudioAreaTested.model_validate(
            {"tag": tag, "task": task, "method": method, "spot": spot, "result": result}
            | {"tested_by": tested_by, "note": form.text("note"), "photo": photo}
        )
        return [body, *_photo_of(tag, photo, PhotoKind.DETAIL, f"Test area: {spot}")]

    form.record(Role.CONSERVATOR, tested_by, bodies)
    return _answer(request, here, tag, form)


@router.post("/facility/studio/{tag}/done")
def record_done(request: Request, tag: TagPath, here: Here, sent: Sent) -> Response:
    """A task is finished."""
    form = _Typed("done", here, sent)
    task = form.task("task", form.text("task"))
    hours = form.hours("hours", "Hours")
    used = form.text("used", "Materials used: name them, or write “none”.")
    done_by = form.text("done_by", WHO)
    photo = form.photo()
    with here.database.read() as session:
        item = reading.item(session, EVERYTHING, tag)
    planned = item.studio.planned(task) if item and task else None
    method = form.text("method") or (planned.method if planned else "")
    if task and not method:
        form.faults.append(("task", f"{task.label} is not open on the list any more. Look again."))

    def bodies() -> Sequence[BaseModel]:
        body = ev.StudioTaskDone.model_validate(
            {"tag": tag, "task": task, "method": method, "done_by": done_by, "hours": hours}
            | {"used": used, "note": form.text("note"), "photo": photo}
        )
        caption = f"After: {body.task.label.lower()}"
        return [body, *_photo_of(tag, photo, PhotoKind.AFTER, caption)]

    form.record(Role.LEAD, done_by, bodies)
    return _answer(request, here, tag, form)


@router.post("/facility/studio/{tag}/off")
def take_off(request: Request, tag: TagPath, here: Here, sent: Sent) -> Response:
    """A conservator takes a task off the list."""
    form = _Typed("off", here, sent)
    task = form.task("task", form.text("task"))
    reason = form.text("reason", "Why: say why it is not to be done.")
    signed_by = form.text("signed_by", WHO)
    form.record(
        Role.CONSERVATOR,
        signed_by,
        lambda: [
            ev.StudioTaskWithdrawn.model_validate({"tag": tag, "task": task, "reason": reason})
        ],
    )
    return _answer(request, here, tag, form)


def _photo_of(
    tag: str, photo: str | None, kind: PhotoKind, caption: str
) -> Sequence[ev.PhotoTaken]:
    """The photo among the piece's own, if there is one."""
    return [ev.PhotoTaken(tag=tag, photo=photo, kind=kind, caption=caption)] if photo else []


def _answer(request: Request, here: Installation, tag: str, form: _Typed) -> Response:
    """Back to the page, or the page as it was filled in with what is wrong."""
    if form.faults:
        return _draw_piece(request, here, tag, form)
    return back(f"/facility/studio/{tag}")
