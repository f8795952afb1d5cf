"""``python -m ignition``: the command line."""

from ignition.cli import main

main()
