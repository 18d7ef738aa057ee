"""Reports: what `away` shows and writes."""
