"""Which reader reads a file: one dictionary, content before suffix.

Why it is: a format is added with one module and one entry here, or from another package with an entry point of
the group ``pdcheck.captures``. Readers are imported when they are used, so a format costs nothing at start.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from importlib import import_module

from pdcheck.capture.model import Capture, Role
from pdcheck.capture.sniff import (
    is_tar,
    known_otherwise,
    looks_like_rows,
    looks_like_text,
    looks_like_vcd,
    zero_byte_in_text,
)
from pdcheck.capture.source import ByteSource, Progress
from pdcheck.errors import CaptureError

ENTRY_POINT_GROUP = "pdcheck.captures"


@dataclass(frozen=True)
class ReadOptions:
    """What the user said about the file.

    :ivar roles: role to column name or 1-based column number.
    :ivar rate_hz: samples a second, for files that do not carry times.
    """

    roles: Mapping[Role, str] = field(default_factory=dict)
    rate_hz: float | None = None


Reader = Callable[[ByteSource, ReadOptions], Capture]


@dataclass(frozen=True)
class Format:
    """A file format.

    :ivar claims: given the first bytes (up to 64 KiB, unpacked) and the options, is this the format?
    :ivar suffixes: what the names of such files end in, in lower case. The content alone decides what a file is; by its
        name a watched folder, an archive of several files and the casebook tell whether it may be a capture.
    :ivar reader: ``"module:function"``, imported on use, or the function itself.
    """

    claims: Callable[[bytes, ReadOptions], bool]
    suffixes: tuple[str, ...]
    reader: str | Reader

    def load(self) -> Reader:
        """The reader function."""
        if not isinstance(self.reader, str):
            return self.reader
        module, _, name = self.reader.partition(":")
        reader: Reader = getattr(import_module(module), name)
        return reader


FORMATS: dict[str, Format] = {
    "vcd": Format(lambda head, _: looks_like_vcd(head), (".vcd",), "pdcheck.capture.vcd:read_vcd"),
    "csv": Format(
        lambda head, options: looks_like_text(head) and (options.rate_hz is None or looks_like_rows(head)),
        (".csv", ".tsv", ".txt", ".dat"), "pdcheck.capture.csv_reader:read_csv",
    ),
    "raw": Format(
        lambda _, options: options.rate_hz is not None, (".bin", ".raw"), "pdcheck.capture.raw:read_raw"
    ),
}


def suffixes() -> tuple[str, ...]:
    """What the names of captures end in, in lower case; packed ones go on with one of ``packed.SUFFIXES``."""
    return tuple(suffix for known in FORMATS.values() for suffix in known.suffixes)


def open_capture(
    path: str | os.PathLike[str],
    *,
    roles: Mapping[Role, str] | None = None,
    rate_hz: float | None = None,
    progress: Progress | None = None,
) -> Capture:
    """Read a capture file of any known format.

    :param path: a file, packed or not; ``"-"`` for standard input.
    :param roles: role to column name or 1-based column number, where the header does not tell or is wrong.
    :param rate_hz: samples a second, for files that hold samples without times.
    :param progress: called now and then with the bytes read so far (as stored) and their total, None for a pipe.
    :raises CaptureError: the file cannot be read as a capture; the error names file, line and remedy.
    """
    name = os.fspath(path)
    if rate_hz is not None and not 1 <= rate_hz < 1e15:
        raise CaptureError(f"{rate_hz:g} Hz is no sample rate", "give --rate in samples a second", path=name)
    options = ReadOptions(dict(roles or {}), rate_hz)
    with ByteSource(name, progress) as source:
        head = source.head
        if not head:
            raise CaptureError("is empty", "export the capture again", path=name)
        if is_tar(head):
            raise CaptureError("is a tar archive, not a capture", "unpack it and name the capture in it", path=name)
        other = known_otherwise(head)
        if other is not None:
            raise CaptureError(f"is {other}, not a capture", "name the file that the analyzer exported", path=name)
        capture = _pick(source, head, options).load()(source, options)
        return replace(capture, chosen=frozenset(options.roles)) if options.roles else capture


def _pick(source: ByteSource, head: bytes, options: ReadOptions) -> Format:
    zero = zero_byte_in_text(head)
    for known in FORMATS.values():
        if known.claims(head, options) and (zero is None or known is not FORMATS["raw"]):
            return known
    plugin = _from_entry_points(head, options)
    if plugin is not None:
        return plugin
    if zero is not None:
        raise CaptureError(
            "holds zero bytes among its text: it is damaged", "export the capture again", path=source.path, line=zero
        )
    if source.name.lower().endswith(FORMATS["raw"].suffixes):
        raise CaptureError(
            "holds raw samples without times", "give the sample rate with --rate HZ", path=source.path
        )
    raise CaptureError(
        "is not text and not a known capture format",
        "export as CSV or VCD, or give --rate HZ if it holds raw samples",
        path=source.path,
    )


def _from_entry_points(head: bytes, options: ReadOptions) -> Format | None:
    """A format from another package; looked up only now, for the look-up costs start-up time."""
    from importlib.metadata import entry_points

    for entry in entry_points(group=ENTRY_POINT_GROUP):
        found = entry.load()
        if isinstance(found, Format) and found.claims(head, options):
            return found
    return None
