"""``python -m ignition``: the command line."""

from ignition.cli.main import main

main()
