"""Reports: what `setup` shows and writes."""
