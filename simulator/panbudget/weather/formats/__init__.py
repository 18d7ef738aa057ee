"""Formats: a file of a known layout → a raw table."""
