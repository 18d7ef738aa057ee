"""Checks: what a daily table of weather can and cannot be."""
