"""Sensors: their tokens, what each sent last, and the readings of a place's air."""

import json
from datetime import UTC, datetime

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None

_AT_A_TIME = 1000


def upgrade() -> None:
    """Make the three tables, and fill the readings in from the log."""
    air = op.create_table(
        "air",
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("station", sa.String(), nullable=False),
        sa.Column("taken_at", sa.String(), nullable=False),
        sa.Column("data", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["position"], ["log.position"]),
        sa.PrimaryKeyConstraint("position"),
    )
    op.create_index("ix_air_station", "air", ["station", "taken_at"], unique=False)
    found = op.get_bind().execute(
        sa.text(
            "SELECT position, data, received_at FROM log WHERE type = 'air_read' ORDER BY position"
        )
    )
    while rows := found.fetchmany(_AT_A_TIME):
        op.get_bind().execute(air.insert(), [_reading(*row) for row in rows])
    op.create_table(
        "sensor_token",
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("digest", sa.String(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("sensors", sa.String(), nullable=False),
        sa.Column("made_by", sa.String(), nullable=False),
        sa.Column("made_at", sa.String(), nullable=False),
        sa.Column("used_at", sa.String(), nullable=True),
        sa.Column("revoked_at", sa.String(), nullable=True),
        sa.Column("revoked_by", sa.String(), nullable=False),
        sa.Column("revoked_because", sa.String(), nullable=False),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("digest"),
    )
    op.create_table(
        "sensor_heard",
        sa.Column("sensor", sa.String(), nullable=False),
        sa.Column("at", sa.String(), nullable=False),
        sa.Column("newest", sa.String(), nullable=False),
        sa.Column("last", sa.String(), nullable=False),
        sa.Column("readings", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("sensor"),
    )


def _reading(position: int, data: bytes, received_at: str) -> dict[str, object]:
    event = json.loads(data)
    body = event["body"]
    taken_at = datetime.fromisoformat(body["taken_at"]).astimezone(UTC)
    said = {name: body[name] for name in ("value", "unit", "taken_at")}
    said |= {name: body.get(name, "") for name in ("instrument", "zone")}
    said |= {
        "sensor": body.get("sensor"),
        "event": event["id"],
        "received_at": received_at,
        "actor": event["actor"],
    }
    return {
        "position": position,
        "station": body["station"],
        "taken_at": taken_at.isoformat().replace("+00:00", "Z"),
        "data": json.dumps(said),
    }


def downgrade() -> None:
    """Drop the three tables; the readings stay in the log."""
    op.drop_table("sensor_heard")
    op.drop_table("sensor_token")
    op.drop_table("air")
