"""Reports: what `sweep` shows and writes."""
