"""Fit: a pan's exposure from what somebody saw."""
