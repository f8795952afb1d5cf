"""Cross-checks by an independent program: decks out, ngspice in its own process, raw files back in."""
