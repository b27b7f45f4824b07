"""One plan in the making at a time, in the background, for every lead to see."""

import threading
from dataclasses import dataclass
from datetime import datetime

import structlog

from service.facility.planning import NoFacilityError
from service.facility.plans import Draft, SolveError, adopt, draft
from service.installation import Installation

logger = structlog.get_logger()


@dataclass(frozen=True)
class DeskState:
    """What the plan page shows of planning under way."""

    working_since: datetime | None
    ready: Draft | None
    failed: str | None


class PlanDesk:
    """Makes plans on request and holds the newest until it is adopted or replaced."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._state = DeskState(None, None, None)

    def state(self) -> DeskState:
        """How far planning is."""
        with self._lock:
            return self._state

    def start(self, here: Installation, seconds: float) -> str | None:
        """Begin to plan; the reason when that cannot be."""
        with self._lock:
            if self._state.working_since is not None:
                return "A plan is being made already; wait for it."
            self._state = DeskState(here.now(), None, None)
        threading.Thread(target=self._make, args=(here, seconds), daemon=True).start()
        return None

    def _make(self, here: Installation, seconds: float) -> None:
        try:
            state = DeskState(None, draft(here, seconds), None)
        except (SolveError, NoFacilityError, ValueError) as error:
            logger.warning("planning failed", reason=str(error))
            state = DeskState(None, None, str(error))
        except Exception:
            # Nobody waits for this thread: whatever ends it, the desk must be free again.
            logger.exception("planning failed")
            state = DeskState(None, None, "Planning failed in a way nobody foresaw; see the log.")
        with self._lock:
            self._state = state

    def adopt(self, here: Installation, plan_hash: str, actor: str) -> None:
        """Adopt the plan that was looked at. ``SolveError`` when another has taken its place."""
        with self._lock:
            ready = self._state.ready
            if ready is None or ready.plan.sha256() != plan_hash:
                raise SolveError("another plan has taken its place; look at the new one first")
            adopt(here, ready, actor)
            self._state = DeskState(None, None, None)
