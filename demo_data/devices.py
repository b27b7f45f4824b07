"""Phones and desks of the scenario: each writes its own journal and sends it in batches."""

from dataclasses import dataclass, field
from datetime import datetime, timedelta

from pydantic import BaseModel

from shared import events as ev
from shared.vocabulary import Role


@dataclass(frozen=True)
class PhoneBatch:
    """What one phone sends in one go: events in order, and the photos they name by digest."""

    device: str
    sent_at: datetime
    events: list[ev.Event]
    photos: dict[str, bytes]


@dataclass
class Network:
    """The greatest clock that the service had when somebody last asked."""

    clock: int = 0


@dataclass
class Device:
    """A phone or a desk: its journal, what it has not sent yet, and the error of its clock."""

    journal: ev.Journal
    actor: str
    role: Role
    network: Network
    clock_error: timedelta = timedelta(0)
    sent: list[PhoneBatch] = field(default_factory=list)
    waiting: list[ev.Event] = field(default_factory=list)
    photos: dict[str, bytes] = field(default_factory=dict)

    def write(self, body: BaseModel, at: datetime, loss: str | None = None) -> ev.Event:
        """Write down ``body``, said at the true time ``at``."""
        event = self.journal.write(
            body, actor=self.actor, role=self.role, at=at + self.clock_error, loss=loss
        )
        self.waiting.append(event)
        return event

    def sync(self, at: datetime) -> None:
        """Send what is waiting and see what others have sent."""
        if self.waiting:
            batch = PhoneBatch(self.journal.device, at, self.waiting, self.photos)
            self.sent.append(batch)
            self.waiting, self.photos = [], {}
        self.network.clock = max(self.network.clock, self.journal.clock)
        self.journal.saw(self.network.clock)
