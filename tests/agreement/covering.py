"""Pairwise covering arrays: few rows in which every two levels of every two factors meet, where they can.

A fault of two features that meet shows in some row. Rows are found greedily: of a number of rows drawn around a pair
that has not met yet, the one that brings the most new pairs together (the idea of AETG: Cohen, Dalal, Fredman, Patton,
IEEE Trans. Software Eng. 23 (1997) 437, from memory).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from itertools import combinations

import numpy as np

Row = dict[str, str]
Pair = tuple[tuple[str, str], tuple[str, str]]
Why = Callable[[Mapping[str, str]], str | None]  # why levels cannot stand together; None if they can

DRAWN = 6  # rows of which the best is kept
TRIES = 20  # to complete a row around a pair before the pair is held to be impossible


def pairs_of(row: Mapping[str, str]) -> set[Pair]:
    """Every two levels that meet in a row, in the order of the factors."""
    return set(combinations(row.items(), 2))


def all_pairs(factors: Mapping[str, tuple[str, ...]]) -> set[Pair]:
    """Every two levels of two factors."""
    return {
        ((one, a), (other, b)) for one, other in combinations(factors, 2) for a in factors[one] for b in factors[other]
    }


def covering(factors: Mapping[str, tuple[str, ...]], why_not: Why, seed: int) -> tuple[list[Row], set[Pair]]:
    """Rows that cover every pair that can be, and the pairs that cannot."""
    rng = np.random.default_rng(seed)
    array = _Array(factors, why_not, rng)
    left = sorted(all_pairs(factors))
    impossible: set[Pair] = set()
    rows: list[Row] = []
    for pair in (left[place] for place in rng.permutation(len(left)).tolist()):
        if not array.is_left(pair):
            continue
        drawn = [row for _ in range(DRAWN) if (row := array.around(dict(pair))) is not None]
        if not drawn:
            array.left[array.at(pair[0]), array.at(pair[1])] = False
            impossible.add(pair)
            continue
        rows.append(max(drawn, key=array.brings))
        array.meet(rows[-1])
    return rows, impossible


def random_row(factors: Mapping[str, tuple[str, ...]], why_not: Why, rng: np.random.Generator) -> Row:
    """A row of levels drawn alike."""
    array = _Array(factors, why_not, rng)
    array.left[:] = False
    while (row := array.around({})) is None:
        pass
    return row


class _Array:
    """Which pairs of levels are left to meet. left : symmetric table over all levels of all factors"""

    def __init__(self, factors: Mapping[str, tuple[str, ...]], why_not: Why, rng: np.random.Generator) -> None:
        self.factors, self.why_not, self.rng = factors, why_not, rng
        levels = [(name, level) for name, its in factors.items() for level in its]
        self.place = {level: number for number, level in enumerate(levels)}
        of = np.array([list(factors).index(name) for name, _ in levels])
        self.left = of[:, None] != of[None, :]

    def at(self, level: tuple[str, str]) -> int:
        return self.place[level]

    def is_left(self, pair: Pair) -> bool:
        return bool(self.left[self.at(pair[0]), self.at(pair[1])])

    def meet(self, row: Row) -> None:
        places = [self.at(level) for level in row.items()]
        self.left[np.ix_(places, places)] = False

    def brings(self, row: Row) -> int:
        """How many pairs meet in a row that have not met before, twice."""
        places = [self.at(level) for level in row.items()]
        return int(self.left[np.ix_(places, places)].sum())

    def around(self, fixed: Row) -> Row | None:
        """A whole row that holds what is fixed: each other factor gets the level that meets most new ones."""
        if self.why_not(fixed) is not None:
            return None
        for _ in range(TRIES):
            row = dict(fixed)
            for name in self.rng.permutation([name for name in self.factors if name not in row]).tolist():
                level = self._level(row, name)
                if level is None:
                    break
                row[name] = level
            else:
                return {name: row[name] for name in self.factors}
        return None

    def _level(self, row: Row, name: str) -> str | None:
        """The level that brings most new pairs to a row that is not whole yet; None where none fits."""
        places = [self.at(level) for level in row.items()]
        levels = self.rng.permutation(self.factors[name]).tolist()
        brings = self.left[np.ix_([self.at((name, level)) for level in levels], places)].sum(axis=1)
        for number in np.argsort(brings, kind="stable")[::-1].tolist():
            if self.why_not(row | {name: levels[number]}) is None:
                return str(levels[number])
        return None
