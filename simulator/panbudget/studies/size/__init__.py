"""Size: which pan, refill flow and swing."""
