"""Text: a file → rows, cells, headers and moments of time."""
