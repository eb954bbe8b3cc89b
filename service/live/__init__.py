"""Readings in, readouts out: what a job's machine reads now, kept in memory alone."""
