"""Today: how a garden stands in the season that is running, what may come, and what to do."""
