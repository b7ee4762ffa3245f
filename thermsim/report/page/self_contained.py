"""Pages that need nothing but themselves: a template beside this file, with its pictures inside."""

from __future__ import annotations

import base64
import io
from collections.abc import Callable, Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from matplotlib.figure import Figure


def rendered(template: str, /, *, filters: Mapping[str, Callable[[str], Any]] | None = None, **values: Any) -> str:
    """The text of a page. template : its file; filters : what it may put words through; values : what stands in it"""
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    environment = Environment(
        loader=FileSystemLoader(Path(__file__).parent, encoding="utf-8"), autoescape=True, undefined=StrictUndefined,
        trim_blocks=True, lstrip_blocks=True,
    )  # fmt: skip
    environment.filters.update(filters or {})
    return environment.get_template(template).render(values)


def made_now() -> str:
    """When a page is made."""
    return datetime.now(UTC).strftime("%Y-%m-%d %H:%M UTC")


def svg(figure: Figure) -> str:
    """A picture as text of an SVG file, without its date."""
    text = io.StringIO()
    figure.savefig(text, format="svg", metadata={"Date": None})
    return text.getvalue()


def embedded_svg(text: str) -> str:
    """The address of a picture that stands in its page."""
    return embedded("image/svg+xml", text.encode())


def embedded(kind: str, data: bytes) -> str:
    """The address of data that stand in their page. kind : media type"""
    return f"data:{kind};base64,{base64.b64encode(data).decode()}"
