"""Written limits, named and dated, and how they are evaluated."""
