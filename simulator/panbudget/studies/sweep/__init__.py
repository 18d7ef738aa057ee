"""
Sweeping: many seasons at once, sites × years × designs × beds, through the one engine.

`plan` is what the user describes, `jobs` its parts and where they run, `site` the places and one place's weather, `grid`
gridded weather, `compute` a place's seasons, `store` the files, `summary` what they come to, `run` all of it in order.
"""

from panbudget.studies.common import problems_of

problem = problems_of("sweep")
