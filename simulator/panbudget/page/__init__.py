"""Page: a garden's page on this machine, and the questions from which a garden is written, there and in the terminal."""

import os

os.environ.pop("NICEGUI_REDIS_URL", None)  # with which the library keeps its state on another machine
