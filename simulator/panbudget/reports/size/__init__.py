"""Reports: what `size` shows and writes."""
