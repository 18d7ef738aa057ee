"""
Gridded weather of a sweep: `cf` its variables by names and units, `calendars` its days, `cells` its numbers cell by cell.
"""
