"""Soaks and loads of minutes, outside the test suite: python -m tests.endurance."""
