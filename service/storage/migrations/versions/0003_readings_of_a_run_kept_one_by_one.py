"""Readings of a chamber run kept one by one beside its record."""

import json

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None

_KEPT = {
    "gas_read": (
        "gas",
        (
            "reading",
            "zone",
            "instrument",
            "value",
            "unit",
            "temperature_c",
            "pressure_pa",
            "taken_at",
        ),
    ),
    "climate_read": ("climate", ("zone", "temperature_c", "rh_percent", "taken_at")),
    "oxygen_read": ("oxygen", ("zone", "percent", "taken_at")),
}
_AT_A_TIME = 1000


def upgrade() -> None:
    """Make the table, fill it from the log, and take the readings out of the records."""
    sample = op.create_table(
        "sample",
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("run", sa.String(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("data", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["position"], ["log.position"]),
        sa.PrimaryKeyConstraint("position"),
    )
    with op.batch_alter_table("sample", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_sample_run"), ["run"], unique=False)
    connection = op.get_bind()
    found = connection.execute(
        sa.text(
            "SELECT position, type, data, received_at FROM log "
            "WHERE type IN ('gas_read', 'climate_read', 'oxygen_read') ORDER BY position"
        )
    )
    while rows := found.fetchmany(_AT_A_TIME):
        connection.execute(sample.insert(), [_sample(*row) for row in rows])
    for subject, data in connection.execute(
        sa.text("SELECT subject, data FROM record WHERE kind = 'run'")
    ).fetchall():
        record = {
            name: value
            for name, value in json.loads(data).items()
            if name not in {"gas", "climate", "oxygen"}
        }
        _write(connection, subject, record)


def _write(connection: sa.Connection, subject: str, record: dict[str, object]) -> None:
    connection.execute(
        sa.text("UPDATE record SET data = :data WHERE subject = :subject"),
        {"data": json.dumps(record), "subject": subject},
    )


def _sample(position: int, kind: str, data: bytes, received_at: str) -> dict[str, object]:
    event = json.loads(data)
    short, names = _KEPT[kind]
    said = {name: event["body"].get(name, "" if short == "gas" else None) for name in names}
    if short != "climate":
        said |= {"event": event["id"], "received_at": received_at}
    return {
        "position": position,
        "run": event["body"]["run"],
        "kind": short,
        "data": json.dumps(said),
    }


def downgrade() -> None:
    """Put the readings back into the records of their runs, and drop the table."""
    connection = op.get_bind()
    for subject, data in connection.execute(
        sa.text("SELECT subject, data FROM record WHERE kind = 'run'")
    ).fetchall():
        record = json.loads(data) | {"gas": [], "climate": [], "oxygen": []}
        for kind, said in connection.execute(
            sa.text(
                "SELECT sample.kind, sample.data FROM sample JOIN log USING (position) "
                "WHERE run = :run ORDER BY clock, device, sequence"
            ),
            {"run": record["run"]},
        ):
            record[kind].append(json.loads(said))
        _write(connection, subject, record)
    op.drop_table("sample")
