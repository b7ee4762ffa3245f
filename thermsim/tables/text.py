"""The text of a table file, in whatever encoding spreadsheets and loggers write it."""

from __future__ import annotations

import codecs
import re
from pathlib import Path

from thermsim.errors import CaseError, Fault

LARGEST_TABLE = 50_000_000  # [byte] far above what is logged or typed
_NOT_TEXT = re.compile("[\x00-\x08\x0e-\x1f\x7f]")
_WORKBOOK = (
    b"PK\x03\x04",
    b"\xd0\xcf\x11\xe0",
)  # the first bytes of spreadsheet programs, new and old
_HEAD = 4096  # [byte] by which UTF-16 without a byte-order mark is known


def table_text(path: Path, name: str) -> str:
    """Text of a table: UTF-8, UTF-16, or else Windows-1252, which holds Latin-1, as older spreadsheets write it.

    Raises CaseError: no such file, not readable, too large, a workbook instead of a table, no text.
    """

    def refused(what: str) -> CaseError:
        return CaseError([Fault(name, 1, 1, what)])

    try:
        if path.is_dir():
            raise refused("this is a folder, not a table")
        with path.open("rb") as file:  # not by its size: a pipe has none, a device has no end
            data = file.read(LARGEST_TABLE + 1)
    except FileNotFoundError:
        raise refused("there is no such file") from None
    except (OSError, ValueError) as reason:
        raise refused(f"the file cannot be read: {getattr(reason, 'strerror', None) or reason}") from None
    if len(data) > LARGEST_TABLE:
        raise refused(f"the file is larger than {LARGEST_TABLE} bytes: leave out lines that nobody needs")
    if data.startswith(_WORKBOOK):
        raise refused("this is the workbook of a spreadsheet program: save the sheet as CSV")
    text = decoded(data)
    if strange := _NOT_TEXT.search(text):
        before = text[: strange.start()].splitlines() or [""]
        what = f"the character U+{ord(strange.group()):04X} stands in no text: save the table as CSV"
        raise CaseError([Fault(name, len(before), len(before[-1]) + 1, what)])
    return text


def decoded(data: bytes) -> str:
    """Bytes of a table as text, without the byte-order mark."""
    if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return data.decode("utf-16", "replace")
    head = data[:_HEAD]
    for encoding, zeros in (("utf-16-le", head[1::2]), ("utf-16-be", head[::2])):
        # What is typed for a table lies almost all below U+0100: every other byte is zero.
        if len(zeros) > 2 and zeros.count(0) > 0.9 * len(zeros) and head.count(0) < 0.6 * len(head):
            return data.decode(encoding, "replace")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("cp1252", "replace")
