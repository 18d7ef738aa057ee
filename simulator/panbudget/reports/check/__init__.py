"""Reports: what `check` shows and writes."""
