"""`python -m thermsim` is the command `thermsim`."""

from thermsim.commands.main import main

main()
