"""Reports: what `today` shows and writes."""
