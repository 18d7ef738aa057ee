"""Fit: a pan's exposure from what somebody saw."""

from panbudget.studies.texts import problems_of

problem = problems_of("fit")
