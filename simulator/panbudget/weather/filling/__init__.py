"""Filling: what is missing, estimated or borrowed, and flagged."""
