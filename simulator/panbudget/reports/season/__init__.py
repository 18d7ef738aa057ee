"""Reports: what `season` shows and writes."""
