"""Season: a scenario and weather laid out as arrays, and what came out."""
