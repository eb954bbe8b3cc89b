"""Tests of service/paper."""
