"""Physics: one equation a function, each with its source."""
