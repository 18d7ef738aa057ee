"""
Sweeping: many seasons at once, sites × years × designs × beds, through the one engine.

`plan` is what the user describes, `jobs` its parts, `site` one place's weather, `compute` a place's seasons, `store`
the files, `summary` what they come to, `run` all of it in order, `cluster` where it runs.
"""

from panbudget.studies.texts import problems_of

problem = problems_of("sweep")
