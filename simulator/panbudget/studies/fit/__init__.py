"""Fit: a pan's exposure from what somebody saw."""

from panbudget.studies.common import problems_of

problem = problems_of("fit")
