"""``python -m panbudget`` is ``panbudget``."""

from panbudget.cli.main import main

main()
