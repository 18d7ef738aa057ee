"""Robustness: broken files, values, texts, terminals; `fuzz.py` looks for more."""
