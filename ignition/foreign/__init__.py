"""A netlist that a schematic editor wrote becomes the same network."""
