"""Results that show themselves: as text where they are printed, as HTML in a notebook.

Results stand on low floors and their words on high ones. So a result only says that it can be shown, and the floor of
reports registers how, by `as_text.register` and `as_html.register` of the standard library's single dispatch
(docs.python.org, functools.singledispatch).
"""

from __future__ import annotations

from functools import singledispatch


@singledispatch
def as_text(result: object) -> str:
    """A result in words and tables, as the terminal shows it."""
    return repr(result)


@singledispatch
def as_html(result: object) -> str:
    """The same as HTML without scripts or styles beyond alignment."""
    from html import escape

    return f"<pre>{escape(repr(result))}</pre>"


class Printable:
    """A result that `print` and a notebook show by its tables."""

    def __str__(self) -> str:
        return as_text(self)

    def _repr_html_(self) -> str:
        return as_html(self)
