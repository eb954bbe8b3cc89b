"""Fifty machines on one service for an hour, with all that happens to a service meanwhile."""
