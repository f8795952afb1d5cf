"""What the continuity reading proves."""
