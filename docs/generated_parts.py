"""Parts of the documentation that stand in the code, so that a fact that the program knows is written once.

What stands in a page between `<!-- generated: result keys -->` and `<!-- end -->` is made from the program, and so on
for every name in `PARTS`. `python docs/generated_parts.py` renews all pages; a test holds them to what it would write.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parent.parent
PART = re.compile(r"^<!-- generated: ([\w ]+) -->\n.*?^<!-- end -->$", flags=re.MULTILINE | re.DOTALL)


def renewed(text: str) -> str:
    """The text of a page with its generated parts as they are now."""
    return PART.sub(
        lambda found: f"<!-- generated: {found[1]} -->\n\n{PARTS[found[1]]().strip()}\n\n<!-- end -->", text
    )


def renew() -> None:
    """Write every page whose generated parts have changed."""
    for page in sorted((ROOT / "docs").rglob("*.md")):
        text = page.read_text(encoding="utf-8")
        if renewed(text) != text:
            page.write_text(renewed(text), encoding="utf-8", newline="\n")


def result_keys() -> str:
    from thermsim.report.data.keys import markdown

    return markdown()


def comparison_keys() -> str:
    from thermsim.report.data.compare_result import COMPARE_KEYS
    from thermsim.report.data.keys import markdown

    return markdown(COMPARE_KEYS)


def warm_up_keys() -> str:
    from thermsim.report.data.keys import markdown
    from thermsim.report.data.warmup_result import WARMUP_KEYS

    return markdown(WARMUP_KEYS)


def side_by_side_keys() -> str:
    from thermsim.report.data.keys import markdown
    from thermsim.report.data.warmup_result import WARM_UPS_KEYS

    return markdown(WARM_UPS_KEYS)


def judgement_keys() -> str:
    from thermsim.report.data.judge_result import JUDGE_KEYS
    from thermsim.report.data.keys import markdown

    return markdown(JUDGE_KEYS)


def step_response_keys() -> str:
    from thermsim.report.data.keys import markdown
    from thermsim.report.data.response_result import RESPONSE_KEYS

    return markdown(RESPONSE_KEYS)


# Mappings that stand for one number or one name, and are told as such in the tables.
NUMBERS = {
    "Quantity": "number*",
    "Positive": "number* above 0",
    "NonNegative": "number* from 0",
    "Fraction": "number* above 0, up to 1",
    "Celsius": "number* [C]",
}


TOLERANCE = ("plus_minus", "shape", "repeats", "basis")


def case_keys() -> str:
    """One table for each mapping of a case file: first the case itself, then what it holds."""
    from thermsim.case.vocabulary.json_schema import schema

    whole = schema()
    tables = [_keys_of("The case itself", whole)]
    tables += [_keys_of(name, entry) for name, entry in _mappings(whole["$defs"])]
    return "\n\n".join(tables)


def _mappings(definitions: dict[str, Any]) -> Iterator[tuple[str, dict[str, Any]]]:
    for name, entry in definitions.items():
        if name in NUMBERS and name != "Quantity":
            continue
        ways = [entry, *entry.get("anyOf", [])]
        yield from ((name, one) for one in ways if "properties" in one)


def _keys_of(name: str, entry: dict[str, Any]) -> str:
    needed = entry.get("required", [])
    about = " ".join(entry.get("description", "").split())
    lines = [f"### {name}", about, "", "| key | takes | what it means |", "| --- | --- | --- |"]
    for key, value in entry["properties"].items():
        if key in TOLERANCE and name != "Quantity":
            continue  # told once, of a number
        needs = "; needed" if key in needed else ""
        default = value.get("default")
        unless = f"; {default} unless given" if isinstance(default, (int, float, str)) else ""
        lines.append(f"| `{key}` | {_takes(value)}{needs}{unless} | {value.get('description', '')} |")
    return "\n".join(lines)


def _takes(value: dict[str, Any]) -> str:
    """What a key takes, in words."""
    if "$ref" in value:
        name = value["$ref"].rsplit("/", 1)[1]
        return NUMBERS.get(name, f"[{name}](#{name.lower()})")
    if "enum" in value or "const" in value:
        return ", ".join(f"`{one}`" for one in value.get("enum", [value.get("const")]))
    for many in ("anyOf", "oneOf"):
        if many in value:
            return " or ".join(dict.fromkeys(_takes(one) for one in value[many]))
    kind = value.get("type", "anything")
    if kind == "array":
        if "prefixItems" in value:
            return "[" + ", ".join(_takes(one) for one in value["prefixItems"]) + "]"
        return f"list of {_takes(value['items'])}"
    if kind in ("number", "integer"):
        bounds = {"exclusiveMinimum": "above", "minimum": "from", "exclusiveMaximum": "below", "maximum": "up to"}
        words = ", ".join(f"{word} {value[key]:g}" for key, word in bounds.items() if key in value)
        return f"{'number' if kind == 'number' else 'whole number'} {words}".strip()
    return {"string": "text", "object": "mapping", "boolean": "true or false"}.get(kind, kind)


def exit_codes() -> str:
    from thermsim import errors

    rows = {0: ["Done"], 1: ["A failure that no other code is for"], 2: ["Wrong arguments on the command line"]}
    for kind in vars(errors).values():
        if isinstance(kind, type) and issubclass(kind, errors.ThermsimError) and kind is not errors.ThermsimError:
            rows.setdefault(kind.exit_code, []).append((kind.__doc__ or "").split("\n")[0].rstrip("."))
    lines = [f"| {code} | {'; or: '.join(words)} |" for code, words in sorted(rows.items())]
    return "\n".join(["| code | what it means |", "| --- | --- |", *lines])


def commands() -> str:
    """Every command with its arguments and options, as its own help tells them."""
    import click

    from thermsim.commands.main import commands as group

    def lines(name: str, command: click.Command) -> Iterator[str]:
        context = click.Context(command, info_name=f"thermsim {name}")
        yield f"## `thermsim {name}`\n\n{command.help}\n\n```text\n{command.get_usage(context)}\n```\n"
        options = [one for one in command.params if isinstance(one, click.Option)]
        if options:
            yield "| option | what it does |\n| --- | --- |"
            for one in options:
                shown = one.make_metavar(context) if not one.is_flag else ""
                names = f"{one.opts[0]} {shown}".strip().replace("|", "\\|")
                yield f"| `{names}` | {one.help or ''} |"

    return "\n".join("\n".join(lines(name, command)) + "\n" for name, command in group.commands.items())


def options_of_commands() -> str:
    """Which command takes which option, those that most take first."""
    from thermsim.commands.main import commands as group

    taken: dict[str, list[str]] = {}
    for name, command in group.commands.items():
        for one in command.params:
            if one.param_type_name == "option":
                taken.setdefault(one.opts[0], []).append(name)
    names = [name for name in group.commands if any(name in takers for takers in taken.values())]
    rows = [
        f"| `{option}` | {' | '.join('x' if name in takers else '' for name in names)} |"
        for option, takers in sorted(taken.items(), key=lambda pair: -len(pair[1]))
    ]
    return "\n".join([f"| | {' | '.join(f'`{name}`' for name in names)} |", "| --- " * (len(names) + 1) + "|", *rows])


def python_interface() -> str:
    """Every public name with its signature and docstring."""
    import thermsim

    def directive(name: str) -> str:
        kind = "autoclass" if isinstance(getattr(thermsim, name), type) else "autofunction"
        return f".. {kind}:: thermsim.{name}"

    names = [name for name in thermsim.__all__ if name != "__version__"]
    return "```{eval-rst}\n" + "\n\n".join(directive(name) for name in names) + "\n```"


def catalogue() -> str:
    """Every material and joint class: values, range, source, how sure."""
    from thermsim.materials.catalogue import rows

    found = rows()
    heads = list(found[0])
    lines = [
        "| " + " | ".join(row[head].replace("|", "\\|").replace("\n", " ") for head in heads) + " |" for row in found
    ]
    return "\n".join(["| " + " | ".join(heads) + " |", "|" + " --- |" * len(heads), *lines])


PARTS: dict[str, Callable[[], str]] = {
    "result keys": result_keys,
    "comparison keys": comparison_keys,
    "warm up keys": warm_up_keys,
    "warm ups side by side keys": side_by_side_keys,
    "judgement keys": judgement_keys,
    "step response keys": step_response_keys,
    "case keys": case_keys,
    "exit codes": exit_codes,
    "commands": commands,
    "options of commands": options_of_commands,
    "python interface": python_interface,
    "catalogue": catalogue,
}

if __name__ == "__main__":
    renew()
