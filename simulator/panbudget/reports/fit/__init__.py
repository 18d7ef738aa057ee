"""Reports: what `fit` shows and writes."""
