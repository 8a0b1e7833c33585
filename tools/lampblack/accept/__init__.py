"""The acceptance test of a box that was built: steps, limits, and the report."""
