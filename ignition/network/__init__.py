"""Network: elements, batched solution, worst case, the channel template."""
