"""Rollouts, entries and leases: the journal's first form."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None


def upgrade() -> None:
    op.create_table(
        "rollouts",
        sa.Column("rollout_id", sa.String(64), primary_key=True),
        sa.Column("job", sa.String(64), nullable=False),
        sa.Column("purpose", sa.String(16), nullable=False),
        sa.Column("made_at", sa.String(40), nullable=False),
        sa.Column("head", sa.LargeBinary, nullable=False),
        sa.Column("head_sha256", sa.String(64), nullable=False),
    )
    op.create_index("ix_rollouts_job", "rollouts", ["job"])
    op.create_table(
        "entries",
        sa.Column("rollout_id", sa.String(64), sa.ForeignKey("rollouts.rollout_id"), primary_key=True),
        sa.Column("seq", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("at", sa.String(40), nullable=False),
        sa.Column("site", sa.String(64), nullable=False),
        sa.Column("actor", sa.String(200), nullable=False),
        sa.Column("epoch", sa.Integer, nullable=False),
        sa.Column("step_id", sa.String(200), nullable=False),
        sa.Column("event", sa.String(32), nullable=False),
        sa.Column("intent", sa.Text, nullable=False),
        sa.Column("evidence", sa.LargeBinary, nullable=False),
        sa.Column("leaf_hash", sa.String(64), nullable=False),
    )
    op.create_table(
        "leases",
        sa.Column("rollout_id", sa.String(64), sa.ForeignKey("rollouts.rollout_id"), primary_key=True),
        sa.Column("holder", sa.String(200), nullable=False),
        sa.Column("epoch", sa.Integer, nullable=False),
        sa.Column("until", sa.String(40), nullable=False),
    )


def downgrade() -> None:
    for table in ("leases", "entries", "rollouts"):
        op.drop_table(table)
