"""The tables. Times are kept as RFC 3339 text in UTC, which sorts and travels without surprises."""

from sqlalchemy import Index, LargeBinary, UniqueConstraint
from sqlmodel import Field, SQLModel


class LogRow(SQLModel, table=True):
    """One stored event: its exact bytes, and where it stands in its tree."""

    __tablename__ = "log"
    __table_args__ = (
        UniqueConstraint("device", "sequence", name="uq_log_device_sequence"),
        UniqueConstraint("tree", "leaf", name="uq_log_tree_leaf"),
    )

    position: int | None = Field(default=None, primary_key=True)
    id: str = Field(unique=True)
    device: str
    sequence: int
    clock: int = Field(index=True)
    tree: str = Field(description="The loss the event belongs to, or 'facility'.")
    leaf: int = Field(description="Place in the tree, from 0.")
    type: str = Field(index=True)
    digest: str = Field(description="SHA-256 of the event's canonical bytes, hex.")
    data: bytes = Field(sa_type=LargeBinary, description="The event's canonical bytes.")
    received_at: str


class SubjectRow(SQLModel, table=True):
    """Which records an event changes."""

    __tablename__ = "subject"

    subject: str = Field(primary_key=True)
    position: int = Field(primary_key=True, foreign_key="log.position")


class AliasRow(SQLModel, table=True):
    """A replacement tag and the piece it now stands for."""

    __tablename__ = "alias"

    subject: str = Field(primary_key=True)
    stands_for: str


class RefusedRow(SQLModel, table=True):
    """An event that was refused, kept with the reason so that nothing is lost."""

    __tablename__ = "refused"

    digest: str = Field(primary_key=True)
    event: str = Field(index=True)
    data: bytes = Field(sa_type=LargeBinary)
    reason: str
    received_at: str


class RecordRow(SQLModel, table=True):
    """A folded record, with the columns that lists are made from."""

    __tablename__ = "record"
    __table_args__ = (
        Index("ix_record_kind_loss", "kind", "loss"),
        Index("ix_record_station", "kind", "station"),
    )

    subject: str = Field(primary_key=True)
    kind: str
    loss: str | None = None
    claim: str | None = Field(default=None, index=True)
    parent: str | None = Field(default=None, index=True)
    station: str | None = None
    search: str = ""
    conflicts: int = 0
    data: str = Field(description="The record as JSON.")


class SampleRow(SQLModel, table=True):
    """One reading of a chamber run, as the run's record has it.

    Kept apart from the record, so that a sensor's reading costs one row and not the whole run
    written anew.
    """

    __tablename__ = "sample"

    position: int = Field(primary_key=True, foreign_key="log.position")
    run: str = Field(index=True)
    kind: str = Field(description="gas, climate or oxygen.")
    data: str = Field(description="The reading as JSON.")


class AirRow(SQLModel, table=True):
    """One reading of the air of a place, outside a chamber run."""

    __tablename__ = "air"
    __table_args__ = (Index("ix_air_station", "station", "taken_at"),)

    position: int = Field(primary_key=True, foreign_key="log.position")
    station: str
    taken_at: str = Field(description="When it was taken, UTC: what a place's log is read by.")
    data: str = Field(description="The reading as JSON.")


class SensorTokenRow(SQLModel, table=True):
    """Leave for some sensors to write. The secret itself is not kept."""

    __tablename__ = "sensor_token"

    id: str = Field(primary_key=True)
    digest: str = Field(unique=True, description="SHA-256 of the secret, hex.")
    name: str
    sensors: str = Field(description="The sensors it may write for, a JSON list.")
    made_by: str
    made_at: str
    used_at: str | None = None
    revoked_at: str | None = None
    revoked_by: str = ""
    revoked_because: str = ""


class SensorHeardRow(SQLModel, table=True):
    """What a sensor sent last."""

    __tablename__ = "sensor_heard"

    sensor: str = Field(primary_key=True)
    at: str = Field(description="When the service last had a reading of it.")
    newest: str = Field(description="The latest time that it wrote and that was not in the future.")
    last: str = Field(description="What it said last, with the unit.")
    readings: int = 0


class TreeRow(SQLModel, table=True):
    """How far a tree has grown, and the hashes needed to grow it further."""

    __tablename__ = "tree"

    tree: str = Field(primary_key=True)
    size: int
    peaks: bytes = Field(sa_type=LargeBinary)


class CheckpointRow(SQLModel, table=True):
    """A signed statement of a tree's size and root."""

    __tablename__ = "checkpoint"
    __table_args__ = (UniqueConstraint("tree", "size", name="uq_checkpoint_tree_size"),)

    id: int | None = Field(default=None, primary_key=True)
    tree: str
    size: int
    note: str
    made_at: str


class PhotoRow(SQLModel, table=True):
    """A photo that has arrived; its bytes are in the photo store under its digest."""

    __tablename__ = "photo"

    sha256: str = Field(primary_key=True)
    size: int
    media_type: str
    width: int
    height: int
    received_at: str


class InvitationRow(SQLModel, table=True):
    """A code that enrols one phone. The code itself is not kept."""

    __tablename__ = "invitation"

    digest: str = Field(primary_key=True, description="SHA-256 of the code, hex.")
    name: str
    holder: str
    made_by: str
    made_at: str
    expires_at: str
    used_at: str | None = None
    phone: str | None = None


class HeardRow(SQLModel, table=True):
    """When a phone last sent events that it had signed."""

    __tablename__ = "heard"

    phone: str = Field(primary_key=True)
    at: str
