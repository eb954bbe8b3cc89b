"""Jobs, their events, and profile revisions."""

import sqlalchemy as sa
from alembic import op

from service.store.migrations.spelling import TEXT

revision = "0001"
down_revision = None


def upgrade() -> None:
    """Create the three tables."""
    op.create_table(
        "job",
        sa.Column("id", TEXT, nullable=False),
        sa.Column("name", TEXT, nullable=False),
        sa.Column("opened_utc", TEXT, nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_job"),
    )
    op.create_table(
        "event",
        sa.Column("job_id", TEXT, nullable=False),
        sa.Column("seq", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("uuid", TEXT, nullable=False),
        sa.Column("type", TEXT, nullable=False),
        sa.Column("payload_version", sa.Integer(), nullable=False),
        sa.Column("actor", TEXT, nullable=False),
        sa.Column("observed_utc", TEXT, nullable=False),
        sa.Column("recorded_utc", TEXT, nullable=False),
        sa.Column("idempotency_key", TEXT, nullable=True),
        sa.Column("request_hash", TEXT, nullable=True),
        sa.Column("payload", TEXT, nullable=False),
        sa.Column("previous_hash", TEXT, nullable=False),
        sa.Column("hash", TEXT, nullable=False),
        sa.PrimaryKeyConstraint("job_id", "seq", name="pk_event"),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"], name="fk_event_job_id_job"),
        sa.UniqueConstraint("uuid", name="uq_event_uuid"),
        sa.UniqueConstraint("job_id", "idempotency_key", name="uq_event_job_id_idempotency_key"),
        sa.CheckConstraint("seq >= 1", name="ck_event_seq_from_one"),
    )
    op.create_table(
        "profile_revision",
        sa.Column("kind", TEXT, nullable=False),
        sa.Column("content_hash", TEXT, nullable=False),
        sa.Column("profile_id", TEXT, nullable=False),
        sa.Column("document", TEXT, nullable=False),
        sa.Column("source_text", TEXT, nullable=False),
        sa.Column("origin", TEXT, nullable=False),
        sa.Column("recorded_utc", TEXT, nullable=False),
        sa.Column("ordinal", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("kind", "content_hash", name="pk_profile_revision"),
        sa.UniqueConstraint("ordinal", name="uq_profile_revision_ordinal"),
        sa.UniqueConstraint(
            "kind", "profile_id", "ordinal", name="uq_profile_revision_kind_profile_id_ordinal"
        ),
        sa.CheckConstraint("kind IN ('machine', 'attachment')", name="ck_profile_revision_kind"),
        sa.CheckConstraint("origin IN ('shipped', 'uploaded')", name="ck_profile_revision_origin"),
    )
