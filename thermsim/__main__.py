"""`python -m thermsim` is the command `thermsim`."""

from thermsim.cli import main

main()
