"""Page: a garden's page on this machine, and the questions from which a garden is written, there and in the terminal."""
