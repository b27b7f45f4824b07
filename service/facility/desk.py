"""One plan in the making at a time, in the background, for every lead to see."""

import threading
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime

import structlog

from service.facility.edits import Judged
from service.facility.planning import NoFacilityError
from service.facility.plans import Draft, Progress, SolveError, Watch, adopt, draft, repair_draft
from service.installation import Installation

logger = structlog.get_logger()


@dataclass(frozen=True)
class DeskState:
    """What the plan page shows of planning under way: since when, for whom, and how far."""

    working_since: datetime | None
    ready: Draft | None
    failed: str | None
    asked_by: str = ""
    seconds: float = 0
    watch: Watch | None = None

    @property
    def progress(self) -> Progress | None:
        """The newest that the search told."""
        return self.watch.latest if self.watch else None


class PlanDesk:
    """Makes plans on request and holds the newest until it is adopted or replaced."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._state = DeskState(None, None, None)
        self._notes: dict[str, str] = {}

    def note(self, judged: Iterable[Judged]) -> None:
        """Keep which edits counted when a problem was last made, and why others did not."""
        notes = {one.edit.edit: one.note for one in judged}
        with self._lock:
            self._notes = notes

    def notes(self) -> dict[str, str]:
        """Why edits did not count when last looked at; an empty text for one that did."""
        with self._lock:
            return dict(self._notes)

    def state(self) -> DeskState:
        """How far planning is."""
        with self._lock:
            return self._state

    def start(
        self,
        here: Installation,
        seconds: float,
        asked_by: str = "",
        kept: frozenset[str] = frozenset(),
    ) -> str | None:
        """Begin to plan; the reason when that cannot be."""
        return self._begin(
            here, seconds, asked_by, lambda watch: draft(here, seconds, 0, watch, kept)
        )

    def repair(self, here: Installation, asked_by: str = "") -> str | None:
        """Begin to put the plan in use back around what has changed; the reason when not."""
        return self._begin(here, 0, asked_by, lambda watch: repair_draft(here, watch))

    def _begin(
        self, here: Installation, seconds: float, asked_by: str, make: Callable[[Watch], Draft]
    ) -> str | None:
        with self._lock:
            if self._state.working_since is not None:
                for_whom = f" for {self._state.asked_by}" if self._state.asked_by else ""
                return f"A plan is being made already{for_whom}; wait for it."
            watch = Watch()
            self._state = DeskState(here.now(), None, None, asked_by, seconds, watch)
        threading.Thread(target=self._make, args=(make, watch, asked_by), daemon=True).start()
        return None

    def _make(self, make: Callable[[Watch], Draft], watch: Watch, asked_by: str) -> None:
        try:
            made = make(watch)
            self.note(made.planning.edits)
            state = DeskState(None, made, None, asked_by)
        except (SolveError, NoFacilityError, ValueError) as error:
            logger.warning("planning failed", reason=str(error))
            state = DeskState(None, None, str(error), asked_by)
        except Exception:
            # Nobody waits for this thread: whatever ends it, the desk must be free again.
            logger.exception("planning failed")
            words = "Planning failed in a way nobody foresaw; see the log."
            state = DeskState(None, None, words, asked_by)
        with self._lock:
            self._state = state

    def stop(self) -> str | None:
        """End the search; the best plan so far is kept. The reason when there is none to end."""
        watch = self.state().watch
        if watch is None:
            return "No plan is being made now."
        watch.stop()
        return None

    def drop(self) -> None:
        """Lay the ready plan aside."""
        with self._lock:
            if self._state.working_since is None:
                self._state = DeskState(None, None, None)

    def adopt(self, here: Installation, plan_hash: str, actor: str) -> None:
        """Adopt the plan that was looked at. ``SolveError`` when another has taken its place, and
        ``RefusedError`` when something was decided since it was made.
        """
        with self._lock:
            ready = self._state.ready
            if ready is None or ready.digest != plan_hash:
                raise SolveError("another plan has taken its place; look at the new one first")
            adopt(here, ready, actor)
            self._state = DeskState(None, None, None)
