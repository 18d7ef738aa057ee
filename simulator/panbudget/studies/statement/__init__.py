"""Statement: a season's water as a water-rights form asks for it: by month and water year, in the form's own units."""
