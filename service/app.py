"""The web application: one installation behind the pages of the four people."""

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

from fastapi import FastAPI
from fastapi.staticfiles import StaticFiles
from pydantic import BaseModel
from sqlalchemy import text

from service.adjuster import routes as adjuster
from service.crew import routes as crew
from service.facility import (
    climate_pages,
    condition_pages,
    loading_pages,
    plan_pages,
    programme_routes,
    promise_pages,
    receiving,
    run_pages,
    sensors_pages,
    sensors_push,
    setup_pages,
    setup_routes,
    studio_pages,
    today_pages,
)
from service.facility import routes as facility
from service.facility.desk import PlanDesk, PromiseDesk
from service.facility.today_pages import TodayDesk
from service.installation import Installation
from service.log import routes as log
from service.log.routes import Here
from service.office import routes as office
from service.office import science, second_tags
from service.pages import BUILT
from service.web_safety import Safety


class Health(BaseModel):
    """Whether the service can do its work."""

    status: str
    log_position: int


def create_app(installation: Installation) -> FastAPI:
    """The application that serves ``installation``; it closes it at the end."""

    @asynccontextmanager
    async def lifespan(_app: FastAPI) -> AsyncIterator[None]:
        yield
        installation.close()

    app = FastAPI(
        title="Lagan",
        version="0.1.0",
        summary="Salvage, treatment and return of artwork after disasters",
        lifespan=lifespan,
    )
    app.state.installation = installation
    app.state.plan_desk = PlanDesk()
    app.state.promise_desk = PromiseDesk()
    app.state.today_desk = TodayDesk()
    app.add_middleware(Safety)
    app.mount("/static", StaticFiles(directory=BUILT), name="static")
    for part in (
        log,
        crew,
        facility,
        run_pages,
        climate_pages,
        condition_pages,
        sensors_pages,
        sensors_push,
        today_pages,
        loading_pages,
        plan_pages,
        programme_routes,
        promise_pages,
        receiving,
        setup_routes,
        setup_pages,
        studio_pages,
        adjuster,
        office,
        science,
        second_tags,
    ):
        app.include_router(part.router)

    @app.get("/healthz", tags=["operation"], summary="Whether the service can do its work")
    def healthz(here: Here) -> Health:
        with here.database.read() as session:
            last = session.execute(text("SELECT coalesce(max(position), 0) FROM log")).scalar_one()
        return Health(status="ok", log_position=last)

    return app
