"""Tests that take longer than the suite allows one; `.ci/run` runs them, pytest alone does not."""
