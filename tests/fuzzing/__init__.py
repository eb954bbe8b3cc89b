"""Fuzzing of all that is read from outside: the engine, what it makes of good input, the table of parsers."""
