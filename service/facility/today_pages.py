"""The lead's page of today."""

import threading

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse
from sqlmodel import Session

from scheduler.plan import Plan
from scheduler.problem import Problem
from service.facility.drawing import draw, plan_in_use, station_names, zone
from service.facility.form_route import FormRoute
from service.facility.runs import in_hand
from service.facility.today import (
    StandingPieces,
    late_trucks,
    near,
    runs_out,
    silent_phones,
    soon,
    to_start,
    waits_in_studio,
    waits_on_people,
    waits_on_runs,
)
from service.installation import Installation
from service.log import reading
from service.log.reading import EVERYTHING
from service.log.routes import Here
from shared.records import FacilityBook
from shared.vocabulary import Phase

router = APIRouter(tags=["facility"], include_in_schema=False, route_class=FormRoute)


class TodayDesk:
    """What today's page keeps between views: what was said of pieces, and the plan as read."""

    def __init__(self) -> None:
        self.pieces = StandingPieces()
        self._lock = threading.Lock()
        self._plan: tuple[str, str, tuple[Problem, Plan]] | None = None

    def plan(
        self, here: Installation, session: Session, book: FacilityBook
    ) -> tuple[Problem, Plan] | None:
        """The plan being worked by, read once for each that is adopted."""
        if book.plan is None or book.problem is None:
            return None
        with self._lock:
            kept = self._plan
        if kept is not None and kept[:2] == (book.plan, book.problem):
            return kept[2]
        found = plan_in_use(here, session)
        if found is not None:
            with self._lock:
                self._plan = (book.plan, book.problem, found)
        return found


@router.get("/facility/")
def today(request: Request, here: Here) -> HTMLResponse:
    """What must start now, what is about to miss, and what waits on whom."""
    now = here.now()
    desk: TodayDesk = request.app.state.today_desk
    with here.database.read() as session:
        book = reading.facility(session)
        stations = station_names(book)
        pieces = desk.pieces.now(session, book, now, here.facts)
        plan = desk.plan(here, session, book)
        hands = [
            hand
            for run in reading.runs(session)
            if run.phase is not Phase.UNLOADED
            and (hand := in_hand(session, run.run, now, here.facts))
        ]
        manifests = [one for one in reading.manifests(session, EVERYTHING) if one.missing]
        done = {one.tag: one.done for one in pieces}
        people = [
            *waits_on_runs(hands, book, stations),
            *waits_on_people(pieces, reading.losses(session, EVERYTHING), stations),
            *waits_in_studio(pieces),
            *late_trucks(manifests, now),
            *runs_out(book, now),
            *silent_phones(session, now),
        ]
        return draw(
            request,
            "today.html",
            zone=zone(book),
            now=now,
            book=book,
            stations=stations,
            counts=reading.counts_by_station(session, EVERYTHING),
            here_now=len(pieces),
            on_the_way=sum(len(one.missing) for one in manifests),
            manifests=manifests,
            urgent=to_start(pieces),
            near=near(pieces, plan, now),
            people=sorted(people, key=lambda one: one.order),
            runs=hands,
            soon=soon(plan, now, lambda tag, step: step in done.get(tag, ())) if plan else [],
            plan=plan,
            conflicts=sum(1 for one in pieces if one.unsettled),
            closures=[one for one in book.closures if one.ends_at > now],
        )
