"""One description of a firing circuit, one network built from it, and the solver of that network."""
