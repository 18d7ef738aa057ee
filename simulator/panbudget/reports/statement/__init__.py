"""Reports: what `statement` shows and writes."""
