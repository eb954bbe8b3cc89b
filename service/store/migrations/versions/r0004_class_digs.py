"""Simulated digs of the learners of a class."""

import sqlalchemy as sa
from alembic import op

from service.store.migrations.spelling import TEXT

revision = "0004"
down_revision = "0003"


def upgrade() -> None:
    """Create the table."""
    op.create_table(
        "class_dig",
        sa.Column("class_id", TEXT, nullable=False),
        sa.Column("seq", sa.Integer(), nullable=False),
        sa.Column("learner", TEXT, nullable=False),
        sa.Column("exercise", TEXT, nullable=False),
        sa.Column("machine_id", TEXT, nullable=False),
        sa.Column("machine_hash", TEXT, nullable=False),
        sa.Column("attachment_id", TEXT, nullable=False),
        sa.Column("attachment_hash", TEXT, nullable=False),
        sa.Column("score", TEXT, nullable=False),
        sa.Column("document", TEXT, nullable=False),
        sa.Column("document_hash", TEXT, nullable=False),
        sa.Column("actor", TEXT, nullable=False),
        sa.Column("recorded_utc", TEXT, nullable=False),
        sa.Column("idempotency_key", TEXT, nullable=True),
        sa.Column("request_hash", TEXT, nullable=True),
        sa.PrimaryKeyConstraint("class_id", "seq", name="pk_class_dig"),
        sa.UniqueConstraint("idempotency_key", name="uq_class_dig_idempotency_key"),
    )
