"""Who may do what: holders and credentials; who recorded a profile revision."""

import sqlalchemy as sa
from alembic import op

from service.store.migrations.spelling import TEXT

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    """Create the two tables, add the column."""
    op.create_table(
        "access_holder",
        sa.Column("name", TEXT, nullable=False),
        sa.Column("roles", TEXT, nullable=False),
        sa.Column("machines", TEXT, nullable=True),
        sa.Column("created_utc", TEXT, nullable=False),
        sa.Column("revoked_utc", TEXT, nullable=True),
        sa.PrimaryKeyConstraint("name", name="pk_access_holder"),
    )
    op.create_table(
        "access_credential",
        sa.Column("id", TEXT, nullable=False),
        sa.Column("holder", TEXT, nullable=False),
        sa.Column("kind", TEXT, nullable=False),
        sa.Column("parent_id", TEXT, nullable=True),
        sa.Column("digest", TEXT, nullable=False),
        sa.Column("issued_utc", TEXT, nullable=False),
        sa.Column("expires_utc", TEXT, nullable=True),
        sa.Column("ended_utc", TEXT, nullable=True),
        sa.PrimaryKeyConstraint("id", name="pk_access_credential"),
        sa.ForeignKeyConstraint(
            ["holder"], ["access_holder.name"], name="fk_access_credential_holder_access_holder"
        ),
        sa.ForeignKeyConstraint(
            ["parent_id"], ["access_credential.id"], name="fk_access_credential_parent_id_access_credential"
        ),
        sa.CheckConstraint("kind IN ('token', 'session')", name="ck_access_credential_kind"),
        sa.CheckConstraint(
            "(kind = 'session') = (parent_id IS NOT NULL)", name="ck_access_credential_parent"
        ),
    )
    op.create_index("ix_access_credential_holder", "access_credential", ["holder"])
    op.add_column("profile_revision", sa.Column("actor", TEXT, nullable=True))
