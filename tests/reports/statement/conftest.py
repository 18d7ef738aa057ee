"""Fixtures: those of the study."""

from tests.studies.statement.conftest import state

__all__ = ["state"]
