"""Fit: a pan's exposure from what somebody saw."""

from panbudget.words import packaged, problems_from

problem = problems_from(packaged("studies/fit/problems.toml"))
