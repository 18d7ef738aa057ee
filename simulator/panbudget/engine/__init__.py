"""Engine: the season day by day, in plain scalar functions; numbers in, numbers out."""
