"""Studies: many seasons, and what they come to; a module or a room a verb."""
