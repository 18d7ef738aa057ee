"""Here the engine is compiled where that pays, as for a user."""

import os

from panbudget.engine.compiled import COMPILER_VARIABLE

os.environ[COMPILER_VARIABLE] = "on"
