"""Faults: what one broken part does, what two do, and the fewest that fire."""
