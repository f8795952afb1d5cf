"""Findings: the only place where a verdict is made."""
