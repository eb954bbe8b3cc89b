"""How a text is spelled: compared byte by byte on every database, so that lists have the same order everywhere."""

import sqlalchemy as sa

TEXT = sa.Text().with_variant(sa.Text(collation="C"), "postgresql")
