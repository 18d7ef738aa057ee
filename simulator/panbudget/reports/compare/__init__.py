"""Reports: what `compare` shows and writes."""
