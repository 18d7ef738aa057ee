"""
Sweeping: many seasons at once, sites × years × designs × beds, through the one engine.

`plan` is what the user describes, `jobs` its parts, `workers` where they run, `site` the places and one place's weather,
`grid` gridded weather, with `gridded`, `usable` the years that a place has, `compute` its seasons, `store` the files,
`summary` what they come to, `cube` the same for other tools, `swept` the end, `run` all of it in order.
"""

from panbudget.words import packaged, problems_from

problem = problems_from(packaged("studies/sweep/problems.toml"))
