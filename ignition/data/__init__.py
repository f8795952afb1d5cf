"""Data that travel with the package: chemistry curves, defaults with their basis, example circuits."""
