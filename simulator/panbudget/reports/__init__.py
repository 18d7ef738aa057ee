"""Reports: a season in words, in figures, and as one page to read or print."""
