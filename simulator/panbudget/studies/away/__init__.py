"""Away: may the garden be left alone."""
