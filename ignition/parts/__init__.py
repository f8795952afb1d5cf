"""Components of a firing circuit: one component a file, as pure laws in SI units."""
