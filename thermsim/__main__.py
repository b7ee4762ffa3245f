"""`python -m thermsim` and the command `thermsim`: both begin here, and hear the interrupt key from the start."""

from __future__ import annotations

import signal
import sys


def main() -> None:
    """Load the commands and run the one that is asked for."""
    try:
        try:
            from thermsim.commands.main import main as run
            from thermsim.commands.terminal import hear_interrupts

            hear_interrupts()
        except KeyboardInterrupt:
            print("thermsim: stopped; nothing half-written is left", file=sys.stderr)
            sys.exit(130)
        run()
    finally:
        signal.signal(signal.SIGINT, signal.SIG_IGN)  # all is done and written: the interpreter may end in peace
        # Where the key was heard inside of text given to `exec` (the methods of dataclasses are made so), CPython ends
        # itself by the signal, with no exit code, though the interrupt was caught; the next text takes that back.
        exec("")


if __name__ == "__main__":
    main()
