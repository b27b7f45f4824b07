"""One plan in the making at a time, in the background, for every lead to see; and likewise one
look at what a loss that is not taken yet would do.
"""

import threading
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Generic, TypeVar

import structlog

from service.facility.edits import Judged
from service.facility.planning import NoFacilityError
from service.facility.plans import Draft, Progress, SolveError, Watch, adopt, draft, repair_draft
from service.facility.promise import Guess, GuessForm, Outlook, look_ahead
from service.installation import Installation

logger = structlog.get_logger()


Made = TypeVar("Made")


@dataclass(frozen=True)
class DeskState(Generic[Made]):
    """What a page shows of planning under way: since when, for whom, and how far."""

    working_since: datetime | None
    ready: Made | None
    failed: str | None
    asked_by: str = ""
    seconds: float = 0
    watch: Watch | None = None

    @property
    def progress(self) -> Progress | None:
        """The newest that the search told."""
        return self.watch.latest if self.watch else None


class Desk(Generic[Made]):
    """Makes one thing at a time on request and holds the newest."""

    working = "A plan is being made already"
    """What is said to whoever asks meanwhile."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._state = DeskState[Made](None, None, None)

    def state(self) -> DeskState[Made]:
        """How far planning is."""
        with self._lock:
            return self._state

    def _begin(
        self, here: Installation, seconds: float, asked_by: str, make: Callable[[Watch], Made]
    ) -> str | None:
        with self._lock:
            if self._state.working_since is not None:
                for_whom = f" for {self._state.asked_by}" if self._state.asked_by else ""
                return f"{self.working}{for_whom}; wait for it."
            watch = Watch()
            self._state = DeskState(here.now(), None, None, asked_by, seconds, watch)
        threading.Thread(target=self._make, args=(make, watch, asked_by), daemon=True).start()
        return None

    def _make(self, make: Callable[[Watch], Made], watch: Watch, asked_by: str) -> None:
        state: DeskState[Made]
        try:
            made = make(watch)
            self._look(made)
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

    def _look(self, made: Made) -> None:
        """Look at what was made before it is shown."""

    def stop(self) -> str | None:
        """End the search; the best so far is kept. The reason when there is none to end."""
        watch = self.state().watch
        if watch is None:
            return "Nothing is being made now."
        watch.stop()
        return None

    def drop(self) -> None:
        """Lay what is ready aside."""
        with self._lock:
            if self._state.working_since is None:
                self._state = DeskState(None, None, None)


class PlanDesk(Desk[Draft]):
    """Makes plans on request and holds the newest until it is adopted or replaced."""

    def __init__(self) -> None:
        super().__init__()
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

    def _look(self, made: Draft) -> None:
        self.note(made.planning.edits)

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


class PromiseDesk(Desk[Outlook]):
    """Looks how soon a loss that is not taken yet could be done, and holds the newest answer."""

    working = "Another loss is being looked at already"

    def __init__(self) -> None:
        super().__init__()
        self.asked: GuessForm | None = None
        """What was last asked, as typed."""

    def start(self, here: Installation, guess: Guess, typed: GuessForm) -> str | None:
        """Begin to look; the reason when that cannot be."""
        busy = self._begin(
            here, guess.seconds, guess.asked_by, lambda watch: look_ahead(here, guess, watch)
        )
        if busy is None:
            self.asked = typed
        return busy
