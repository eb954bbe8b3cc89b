"""Jobs, their events, and profile revisions."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None


def upgrade() -> None:
    """Create the three tables."""
    op.create_table(
        "job",
        sa.Column("id", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("opened_utc", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_job"),
    )
    op.create_table(
        "event",
        sa.Column("job_id", sa.Text(), nullable=False),
        sa.Column("seq", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("uuid", sa.Text(), nullable=False),
        sa.Column("type", sa.Text(), nullable=False),
        sa.Column("payload_version", sa.Integer(), nullable=False),
        sa.Column("actor", sa.Text(), nullable=False),
        sa.Column("observed_utc", sa.Text(), nullable=False),
        sa.Column("recorded_utc", sa.Text(), nullable=False),
        sa.Column("idempotency_key", sa.Text(), nullable=True),
        sa.Column("request_hash", sa.Text(), nullable=True),
        sa.Column("payload", sa.Text(), nullable=False),
        sa.Column("previous_hash", sa.Text(), nullable=False),
        sa.Column("hash", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("job_id", "seq", name="pk_event"),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"], name="fk_event_job_id_job"),
        sa.UniqueConstraint("uuid", name="uq_event_uuid"),
        sa.UniqueConstraint("job_id", "idempotency_key", name="uq_event_job_id_idempotency_key"),
        sa.CheckConstraint("seq >= 1", name="ck_event_seq_from_one"),
    )
    op.create_table(
        "profile_revision",
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("content_hash", sa.Text(), nullable=False),
        sa.Column("profile_id", sa.Text(), nullable=False),
        sa.Column("document", sa.Text(), nullable=False),
        sa.Column("source_text", sa.Text(), nullable=False),
        sa.Column("origin", sa.Text(), nullable=False),
        sa.Column("recorded_utc", sa.Text(), nullable=False),
        sa.Column("ordinal", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("kind", "content_hash", name="pk_profile_revision"),
        sa.UniqueConstraint("ordinal", name="uq_profile_revision_ordinal"),
        sa.UniqueConstraint(
            "kind", "profile_id", "ordinal", name="uq_profile_revision_kind_profile_id_ordinal"
        ),
        sa.CheckConstraint("kind IN ('machine', 'attachment')", name="ck_profile_revision_kind"),
        sa.CheckConstraint("origin IN ('shipped', 'uploaded')", name="ck_profile_revision_origin"),
    )
