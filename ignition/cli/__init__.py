"""The command line: load, one public call, print."""
