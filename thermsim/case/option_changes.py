"""The changes of one option, worked into the source of the base case.

A change is written `name: {key: value}`, or `name.key: value`; a name is that of a part, joint, zone, probe or reading,
of an environment or face of `cooling`, or of a heated part as `heat.name`. Where one name means several things, the
list that is meant stands before it: `zones.die`, `layers.die`, `cooling.top`; and where that is not enough, the place:
`cooling.top.0`, `heat.die.bottom` (see `addresses.py`). Keys of the case itself (`accuracy_K`, `limits.reading_C`) are
changed by their own names, and `name: remove` takes an entry out.

A value that is given replaces the old one with all that belonged to it. Ways of saying the same that exclude each other
(a resistance, or a film with its conductivity) are dropped for the one that the change gives. A resistance stands for a
whole joint, and who exchanges a film for a resistance or a resistance for a film has another joint: the wetted share of
the old one goes too.

What an option `adds` comes into the stack when its changes are done.
"""

from __future__ import annotations

from collections.abc import Collection
from typing import Any

from thermsim.case.faults.wording import did_you_mean, found, keys_of, listed
from thermsim.case.source.marked_values import KeyPath, Source, holds
from thermsim.case.vocabulary.addresses import LOOP_KEY, Called, called
from thermsim.case.vocabulary.schema import (
    BOUNDARY_KEYS,
    Case,
    CoolantLoop,
    Cooling,
    Entry,
    Heat,
    Joint,
    Part,
    Probe,
    Reading,
    Zone,
)
from thermsim.errors import Fault
from thermsim.materials.leakage import LAWS

REMOVE = "remove"

# Alternatives among the keys of one mapping: an option that gives one alternative drops the others.
EXCLUSIVE: tuple[tuple[frozenset[str], ...], ...] = (
    (frozenset({"resistance_mm2K_W"}), frozenset({"film_um", "conductivity_W_mK", "boundary_mm2K_W"})),
    (frozenset({"conductivity_W_mK"}), frozenset({"in_plane_W_mK", "through_W_mK"})),
    tuple(frozenset(keys) for keys in BOUNDARY_KEYS.values()),
    (frozenset({"wetted_mm"}), frozenset({"corner_mm", "size_mm"})),
    tuple(frozenset(kind.given_as()) for kind in LAWS),
    (
        frozenset({"value", "plus_minus", "shape", "repeats", "at_C", "exponent"}),
        frozenset({"low", "high", "towards"}),
        frozenset({"edge", "centre"}),
        frozenset({"file"}),
        frozenset({"table"}),
    ),
    (frozenset({"zone"}), frozenset({"probe"})),
    (frozenset({"power_W"}), frozenset({"share"})),
    (frozenset({"rim_mm"}), frozenset({"legs"})),
)
# Keys that an option drops when it names another joint class: values measured on the old joint do not hold for it.
OF_ONE_JOINT = ("resistance_mm2K_W", "film_um", "conductivity_W_mK", "boundary_mm2K_W", "wetted_fraction")
WHOLE_JOINT = ("material", "resistance_mm2K_W")  # keys of which either makes it another joint
OF_TOLERANCE = ("plus_minus", "shape", "repeats")
# Lists of two lengths in a stack and of one in a slice, where an option may leave out the brackets.
LISTS = ("size_mm", "corner_mm", "centre_mm", "wetted_mm", "in_plane_W_mK")
# Mappings that may be written as one plain value, and the key that this value then has (else `value`).
PLAIN = {"material": "name"}
ENTRY_OF: dict[str, type[Entry]] = {
    "layers": Part,
    "joints": Joint,
    "heat": Heat,
    "zones": Zone,
    "cooling": Cooling,
    "probes": Probe,
    "readings": Reading,
    LOOP_KEY: CoolantLoop,
}
PLACES_OF_ADDED = ("above", "below", "in_place_of")
NOT_CHANGED = ("options", "title", "about", "dimensions")


class OptionChanges:
    """The changes of one option, worked one by one into the source of the base case, or of an option before it."""

    def __init__(self, case: Case, base: Source, option: KeyPath) -> None:
        self.base = base
        self.source = base
        self.at: KeyPath = (*option, "changes")
        self.added: KeyPath = (*option, "adds")
        self.layers: list[int | str] = list(range(len(case.layers)))
        self.targets = called(case)
        self.faults: list[Fault] = []
        self.set_in: dict[KeyPath, str] = {}
        self.removed: dict[KeyPath, str] = {}

    def refuse(self, key: str, message: str) -> None:
        """Note a fault at one of the option's own keys; all are told together."""
        self.faults.append(self.base.fault((*self.at, key), message, at_key=True))

    def apply(self) -> Source:
        """The source of the case with all changes made. Raises CaseError with every fault of the option."""
        changes: dict[str, Any] = self.base.at(self.at) or {}
        for key, value in changes.items():
            self.one(key, value)
        for path, key in self.removed.items():
            for other, other_key in self.set_in.items():
                if other[: len(path)] == path:
                    self.refuse(other_key, f"`{other_key}` changes what `{key}` removes")
        if not self.faults:
            for path in sorted(
                self.removed, key=lambda path: [step if isinstance(step, int) else -1 for step in path], reverse=True
            ):
                self.source = self.source.without(path)
            self.layers = [place for place in self.layers if ("layers", place) not in self.removed]
            self.add()
        return self.source

    def add(self) -> None:
        """Put the added layers where they are told to be."""
        for number, entry in enumerate(self.base.at(self.added) or []):
            where = next(key for key in PLACES_OF_ADDED if entry.get(key) is not None)
            at: KeyPath = (*self.added, number, where)
            names = [layer.get("part", layer.get("joint")) for layer in self.source.at(("layers",))]
            if entry[where] not in names:
                near = did_you_mean(entry[where], names, f"it has: {listed(names)}")
                self.faults.append(
                    self.base.fault(at, f"`{where}`: the stack has no part or joint {entry[where]!r}{near}")
                )
                continue
            place = names.index(entry[where])
            if where == "in_place_of":
                old: KeyPath = ("layers", self.layers[place])
                told = next((key for path, key in self.set_in.items() if path[:2] == old), None)
                if told is not None:
                    self.faults.append(self.base.fault(at, f"`in_place_of` takes out what `{told}` changes"))
                    continue
                self.source = self.source.without(("layers", place))
                del self.layers[place]
            place += where == "above"
            for offset, layer in enumerate(entry["layers"]):
                written: KeyPath = (*self.added, number, "layers", offset)
                self.source = self.source.with_item(("layers", place + offset), layer, self.base, written)
                self.layers.insert(place + offset, str(layer.get("part", layer.get("joint"))))

    def given(self) -> frozenset[KeyPath]:
        """Where what the option gives itself stands in the base: a whole joint where it gives another one."""
        paths = set()
        for path in self.set_in:
            is_joint = path[0] == "layers" and "joint" in self.base.at(path[:2])
            if path[-1] in OF_TOLERANCE:
                path = path[:-1]
            paths.add(path[:2] if is_joint and path[-1] in WHOLE_JOINT else path)
        return frozenset(paths)

    def one(self, key: str, value: Any) -> None:
        """Work in one line of the changes."""
        target, rest = self.resolve(key, value)
        if target is None:
            return
        if value == REMOVE and not rest and target:
            self.removed[target] = key
        elif rest:
            self.put((*target, *rest), value, key, (*self.at, key))
        elif not isinstance(value, dict):
            self.refuse(
                key,
                f"`{key}` is a whole entry: it takes {{key: value}}, or `remove`, found {found(value)}; "
                f"to change one value write `{key}.key`",
            )
        else:
            for inner, inner_value in value.items():
                self.put(
                    (*target, inner), inner_value, f"{key}: {inner}", (*self.at, key, inner), given=frozenset(value)
                )

    def resolve(self, key: str, value: Any) -> tuple[KeyPath | None, tuple[str, ...]]:
        """The entry that a key begins with, and the keys inside it that follow."""
        best: dict[KeyPath, Called] = {}
        longest = -1
        for target in self.targets:
            for address in (*target.addresses, *target.faces):
                if key != address and not key.startswith(address + "."):
                    continue
                if len(address) > longest:
                    best, longest = {}, len(address)
                if len(address) == longest:
                    best[target.path] = target
        if not best:
            return self.resolve_top(key)
        address = key[:longest]
        rest = tuple(key[longest + 1 :].split(".")) if len(key) > longest else ()
        called_so = {path: hit for path, hit in best.items() if address in hit.addresses}
        best = called_so or best
        if len(best) > 1:
            wanted = {rest[0]} if rest else set(value) if isinstance(value, dict) else set()
            fitting = {path: hit for path, hit in best.items() if wanted and wanted <= self.keys_for(hit)}
            if len(fitting) != 1:
                ways = " or ".join(f"`{_listed(hit, best.values())}`" for hit in best.values())
                named = "; or give each its `environment`, a name" if _share_a_name(best.values()) else ""
                self.refuse(key, f"`{address}` may mean several entries; write {ways}{named}")
                return None, ()
            best = fitting
        return next(iter(best)), rest

    def keys_for(self, target: Called) -> set[str]:
        """The keys that the named entry may have: those of its kind, or of a joint that stands beside it."""
        kind = "joints" if "joint" in self.base.at(target.path) else target.kind
        return set(keys_of(ENTRY_OF[kind]))

    def resolve_top(self, key: str) -> tuple[KeyPath | None, tuple[str, ...]]:
        """The path and further keys of a change to what stands at the top of a case; None where refused."""
        if key.startswith("material "):
            name = key.removeprefix("material ")
            self.refuse(
                key,
                f"`{key}` is a factor on the catalogue's conductivity for who varies it; an option gives a part "
                f"its own: `material: {{name: {name}, conductivity_W_mK: ...}}`",
            )
            return None, ()
        head, *rest = key.split(".")
        top = [word for word in keys_of(Case) if word not in NOT_CHANGED]
        if head in NOT_CHANGED:
            self.refuse(key, f"an option cannot change `{head}`")
            return None, ()
        if head in top:
            if isinstance(self.base.at((head,)), list) and rest:
                names = [target.name for target in self.targets if target.kind == head]
                name = ".".join(rest)
                near = did_you_mean(name, names, f"it has: {listed(names)}")
                self.refuse(key, f"`{head}` has no entry {name!r}{near}")
                return None, ()
            return (), (head, *rest)
        names = list(dict.fromkeys(target.name for target in self.targets if target.kind != "heat"))
        near = did_you_mean(head, [*names, *top], f"it has: {listed([*names, *top], 60)}")
        self.refuse(key, f"the case has nothing called {head!r}{near}")
        return None, ()

    def put(self, path: KeyPath, value: Any, key: str, written: KeyPath, given: frozenset[str] = frozenset()) -> None:
        """Set one value, with whatever it excludes taken away."""
        path = self.indexed(path)
        for other, other_key in self.set_in.items():
            if other[: len(path)] == path or path[: len(other)] == other:
                line, column = self.base.key_mark(written)
                what = f"`{key}` changes what `{other_key}` changes already"
                self.faults.append(Fault(self.base.name, line, column, what))
                return
        self.set_in[path] = key
        if value == REMOVE and isinstance(value, str):
            if self.source.at(path) is None:
                self.faults.append(
                    self.base.fault(written, f"`{path[-1]}` is not given in the base case; nothing to remove")
                )
            else:
                self.source = self.source.without(path)
            return
        for length in range(1, len(path)):
            self.make_mapping(path[:length], written)
        holder = self.source.at(path[:-1])
        if not isinstance(holder, (dict, list)) or (isinstance(holder, list) and isinstance(path[-1], str)):
            self.faults.append(
                self.base.fault(written, f"`{key}` reaches into {found(holder)}, which has no keys", at_key=True)
            )
            return
        if isinstance(holder, list) and not holds(holder, path[-1]):
            self.faults.append(self.base.fault(written, f"`{key}`: there are {len(holder)}, from 0 on", at_key=True))
            return
        if isinstance(holder, dict):
            for excluded in self.excluded(holder, str(path[-1]), given):
                if (*path[:-1], excluded) not in self.set_in:
                    self.source = self.source.without((*path[:-1], excluded))
        self.source = self.source.with_value(path, value, self.base, written)

    def indexed(self, path: KeyPath) -> KeyPath:
        """A path with places in lists as numbers; a length without brackets becomes a list of one."""
        for length, step in enumerate(path):
            held = self.source.at(path[:length])
            if not (isinstance(step, str) and step.isdigit()) or held is None:
                continue
            if not isinstance(held, (list, str)) and path[length - 1] in LISTS:
                self.source = self.source.with_value(path[:length], [held], self.source, path[:length])
                held = [held]
            if isinstance(held, list):
                path = (*path[:length], int(step), *path[length + 1 :])
        return path

    def make_mapping(self, path: KeyPath, written: KeyPath) -> None:
        """A plain number or name becomes a mapping, so that what stands beside it can be changed."""
        value = self.source.at(path)
        if isinstance(path[-1], str) and value is None:
            self.source = self.source.with_value(path, {}, self.base, written)
        elif isinstance(value, (int, float, str)) and not isinstance(value, bool):
            inner = PLAIN.get(str(path[-1]), "value")
            self.source = self.source.with_value(path, {inner: value}, self.source, path)

    @staticmethod
    def excluded(holder: dict[str, Any], key: str, given: frozenset[str]) -> list[str]:
        """Keys of a mapping that a changed key excludes, but for those that the same change gives."""
        gone: set[str] = set()
        for alternatives in EXCLUSIVE:
            if any(key in keys for keys in alternatives):
                gone |= set().union(*(keys for keys in alternatives if key not in keys))
                # A key may stand in two alternatives: a face may have a film and radiate as well.
                gone -= set().union(*(keys for keys in alternatives if key in keys))
        if "reading" in holder and key == "probe":
            gone.add("takes")
        if "joint" in holder:
            if key == "material":
                gone |= set(OF_ONE_JOINT)
            if key == "resistance_mm2K_W" or gone.intersection(holder) == {"resistance_mm2K_W"}:
                gone.add("wetted_fraction")
        return [other for other in holder if other in gone and other not in given]


def _listed(one: Called, among: Collection[Called]) -> str:
    """Its list and name, or its place where another of those that are meant has the same name."""
    words = (word for word in one.addresses if word.startswith(f"{one.kind}."))
    alone = (word for word in words if sum(word in other.addresses for other in among) == 1)
    return next(alone, one.address)


def _share_a_name(those: Collection[Called]) -> bool:
    """Whether entries of `cooling` among them are called by their face alone, and so alike."""
    names = [one.name for one in those if one.kind == "cooling"]
    return len(set(names)) < len(names)
