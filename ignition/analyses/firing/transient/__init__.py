"""The firing sequence marched from event to event."""
