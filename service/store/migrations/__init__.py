"""Migrations, packaged: `database.py` runs them when a database is opened."""
