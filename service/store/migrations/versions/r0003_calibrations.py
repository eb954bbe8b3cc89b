"""Calibrations that were applied or rolled back; profile revisions that came of them."""

import sqlalchemy as sa
from alembic import op

from service.store.migrations.spelling import TEXT

revision = "0003"
down_revision = "0002"

_TABLE, _BEFORE = "profile_revision", "profile_revision_before"
_COLUMNS = "kind, content_hash, profile_id, document, source_text, origin, recorded_utc, ordinal, actor"
_ORIGIN = "origin IN ('shipped', 'uploaded', 'calibrated', 'restored')"


def upgrade() -> None:
    """Create the table; let a revision's origin be a calibration or a roll-back."""
    op.create_table(
        "calibration",
        sa.Column("id", TEXT, nullable=False),
        sa.Column("ordinal", sa.Integer(), nullable=False),
        sa.Column("machine_id", TEXT, nullable=False),
        sa.Column("machine_before", TEXT, nullable=False),
        sa.Column("machine_after", TEXT, nullable=False),
        sa.Column("attachment_id", TEXT, nullable=False),
        sa.Column("attachment_before", TEXT, nullable=False),
        sa.Column("attachment_after", TEXT, nullable=False),
        sa.Column("document", TEXT, nullable=False),
        sa.Column("document_hash", TEXT, nullable=False),
        sa.Column("rolls_back", TEXT, nullable=True),
        sa.Column("actor", TEXT, nullable=False),
        sa.Column("recorded_utc", TEXT, nullable=False),
        sa.Column("idempotency_key", TEXT, nullable=True),
        sa.Column("request_hash", TEXT, nullable=True),
        sa.PrimaryKeyConstraint("id", name="pk_calibration"),
        sa.UniqueConstraint("ordinal", name="uq_calibration_ordinal"),
        sa.UniqueConstraint("idempotency_key", name="uq_calibration_idempotency_key"),
        sa.UniqueConstraint("rolls_back", name="uq_calibration_rolls_back"),
        sa.ForeignKeyConstraint(
            ["rolls_back"], ["calibration.id"], name="fk_calibration_rolls_back_calibration"
        ),
    )
    if op.get_context().dialect.name != "sqlite":
        op.drop_constraint("ck_profile_revision_origin", _TABLE, type_="check")
        op.create_check_constraint("ck_profile_revision_origin", _TABLE, _ORIGIN)
        return
    # SQLite cannot change a constraint: the table is made anew and its rows carried over, all in the one transaction.
    op.rename_table(_TABLE, _BEFORE)
    op.create_table(
        _TABLE,
        sa.Column("kind", TEXT, nullable=False),
        sa.Column("content_hash", TEXT, nullable=False),
        sa.Column("profile_id", TEXT, nullable=False),
        sa.Column("document", TEXT, nullable=False),
        sa.Column("source_text", TEXT, nullable=False),
        sa.Column("origin", TEXT, nullable=False),
        sa.Column("recorded_utc", TEXT, nullable=False),
        sa.Column("ordinal", sa.Integer(), nullable=False),
        sa.Column("actor", TEXT, nullable=True),
        sa.PrimaryKeyConstraint("kind", "content_hash", name="pk_profile_revision"),
        sa.UniqueConstraint("ordinal", name="uq_profile_revision_ordinal"),
        sa.UniqueConstraint(
            "kind", "profile_id", "ordinal", name="uq_profile_revision_kind_profile_id_ordinal"
        ),
        sa.CheckConstraint("kind IN ('machine', 'attachment')", name="ck_profile_revision_kind"),
        sa.CheckConstraint(_ORIGIN, name="ck_profile_revision_origin"),
    )
    op.execute(f"INSERT INTO {_TABLE} ({_COLUMNS}) SELECT {_COLUMNS} FROM {_BEFORE}")  # noqa: S608  # our own words
    op.drop_table(_BEFORE)
