"""Analyses of a firing circuit: one question a file, computed into a frozen result."""
