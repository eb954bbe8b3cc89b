"""One module a revision; each is frozen once released and knows nothing of tables.py."""
