"""Today: how a garden stands in the season that is running, what may come, and what to do."""

from panbudget.words import packaged, problems_from

problem = problems_from(packaged("studies/today.toml")["problems"])
