"""The journal's tables as SQLAlchemy Core, the same on SQLite and PostgreSQL. Changes go through migrations/."""

from typing import Final

import sqlalchemy as sa

__all__ = ["HEAD", "entries", "leases", "metadata", "rollouts"]

HEAD: Final = "0001"
"""The newest revision in migrations/; a test compares."""

metadata: Final = sa.MetaData()

rollouts: Final = sa.Table(
    "rollouts",
    metadata,
    sa.Column("rollout_id", sa.String(64), primary_key=True),
    sa.Column("job", sa.String(64), nullable=False, index=True),
    sa.Column("purpose", sa.String(16), nullable=False),
    sa.Column("made_at", sa.String(40), nullable=False),
    sa.Column("head", sa.LargeBinary, nullable=False),  # canonical JSON of the RolloutHead
    sa.Column("head_sha256", sa.String(64), nullable=False),
)

entries: Final = sa.Table(
    "entries",
    metadata,
    sa.Column("rollout_id", sa.String(64), sa.ForeignKey("rollouts.rollout_id"), primary_key=True),
    sa.Column("seq", sa.Integer, primary_key=True, autoincrement=False),
    sa.Column("at", sa.String(40), nullable=False),
    sa.Column("site", sa.String(64), nullable=False),
    sa.Column("actor", sa.String(200), nullable=False),
    sa.Column("epoch", sa.Integer, nullable=False),
    sa.Column("step_id", sa.String(200), nullable=False),
    sa.Column("event", sa.String(32), nullable=False),
    sa.Column("intent", sa.Text, nullable=False),
    sa.Column("evidence", sa.LargeBinary, nullable=False),  # canonical JSON
    sa.Column("leaf_hash", sa.String(64), nullable=False),
)

leases: Final = sa.Table(
    "leases",
    metadata,
    sa.Column("rollout_id", sa.String(64), sa.ForeignKey("rollouts.rollout_id"), primary_key=True),
    sa.Column("holder", sa.String(200), nullable=False),  # "" when nobody holds it
    sa.Column("epoch", sa.Integer, nullable=False),
    sa.Column("until", sa.String(40), nullable=False),
)
