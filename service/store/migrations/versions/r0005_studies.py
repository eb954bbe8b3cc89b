"""Studies that were submitted; their results are files."""

import sqlalchemy as sa
from alembic import op

from service.store.migrations.spelling import TEXT

revision = "0005"
down_revision = "0004"


def upgrade() -> None:
    """Create the table."""
    op.create_table(
        "study",
        sa.Column("id", TEXT, nullable=False),
        sa.Column("ordinal", sa.Integer(), nullable=False),
        sa.Column("name", TEXT, nullable=False),
        sa.Column("machine_id", TEXT, nullable=False),
        sa.Column("machine_hash", TEXT, nullable=False),
        sa.Column("attachment_id", TEXT, nullable=False),
        sa.Column("attachment_hash", TEXT, nullable=False),
        sa.Column("identity", TEXT, nullable=False),
        sa.Column("source_text", TEXT, nullable=False),
        sa.Column("actor", TEXT, nullable=False),
        sa.Column("recorded_utc", TEXT, nullable=False),
        sa.Column("idempotency_key", TEXT, nullable=True),
        sa.Column("request_hash", TEXT, nullable=True),
        sa.PrimaryKeyConstraint("id", name="pk_study"),
        sa.UniqueConstraint("ordinal", name="uq_study_ordinal"),
        sa.UniqueConstraint("idempotency_key", name="uq_study_idempotency_key"),
    )
