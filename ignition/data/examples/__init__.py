"""Example circuits that travel with the package; all values are invented."""
