"""Subdaily: hours and minutes → days."""
