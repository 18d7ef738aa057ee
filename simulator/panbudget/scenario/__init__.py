"""Scenario: what a person describes, checked."""

from panbudget.words import packaged, problems_from

problem = problems_from(packaged("scenario/wrong.toml"))
