"""Reports: what `faults` shows and writes."""
