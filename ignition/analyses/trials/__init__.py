"""Trial firings: probability, rare failures, influence."""
