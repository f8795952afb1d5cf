"""How many igniters at once, from a few inputs."""
