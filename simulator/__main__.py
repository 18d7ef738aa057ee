"""``python -m simulator`` is ``panbudget``."""

from simulator.cli import main

main()
