"""Which sense divider to choose."""
