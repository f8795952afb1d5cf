"""Components of a firing circuit: one component a file, as pure laws in SI units.

Every argument of a law broadcasts. One outside the range that its entry states is refused by name, with InputError.
"""
