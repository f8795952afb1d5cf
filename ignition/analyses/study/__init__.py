"""What becomes of a circuit whose values move: how far one may go, and two circuits beside each other."""
