"""Phones are invited, and sign what they send."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Apply."""
    op.create_table(
        "invitation",
        sa.Column("digest", sa.String(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("holder", sa.String(), nullable=False),
        sa.Column("made_by", sa.String(), nullable=False),
        sa.Column("made_at", sa.String(), nullable=False),
        sa.Column("expires_at", sa.String(), nullable=False),
        sa.Column("used_at", sa.String(), nullable=True),
        sa.Column("phone", sa.String(), nullable=True),
        sa.PrimaryKeyConstraint("digest"),
    )
    op.create_table(
        "heard",
        sa.Column("phone", sa.String(), nullable=False),
        sa.Column("at", sa.String(), nullable=False),
        sa.PrimaryKeyConstraint("phone"),
    )
    # A phone's name is in the log now, with its key.
    op.drop_table("device")


def downgrade() -> None:
    """Undo."""
    op.create_table(
        "device",
        sa.Column("device", sa.String(), nullable=False),
        sa.Column("label", sa.String(), nullable=False),
        sa.Column("made_at", sa.String(), nullable=False),
        sa.PrimaryKeyConstraint("device"),
    )
    op.drop_table("heard")
    op.drop_table("invitation")
