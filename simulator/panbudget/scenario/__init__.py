"""Scenario: what a person describes, checked."""
