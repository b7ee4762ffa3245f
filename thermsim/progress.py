"""How far something long is: a line of words, for whoever wants to show it."""

from __future__ import annotations

from collections.abc import Callable

# Called now and then with one line, such as "grid of 20,240 cells done in 0.1 s"; may raise to stop what is under way.
Progress = Callable[[str], None]
