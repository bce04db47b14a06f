"""A ``.zip`` with one capture in it.

Why it is: people send captures by mail, and mail makes zips. It is unpacked a piece at a time like every other
packing; which member is meant is never guessed.
"""

from __future__ import annotations

import io
import os
import zipfile
from collections.abc import Callable
from typing import IO

from pdcheck.capture.packed import SUFFIXES
from pdcheck.errors import CaptureError

_TEXTS = ("readme", "license", "licence")
#: What the packages of the two open standards for spreadsheets hold (ECMA-376 part 1, OpenDocument part 2).
_OF_A_WORKBOOK = ("xl/workbook.xml", "content.xml")
_MOST_MEMBERS = 10_000
_MOST_LISTED = 4 << 20
_END_RECORD = b"PK\x05\x06"
_MOST_BEHIND = (1 << 16) + 22
_PIECE = 1 << 17
_MOST_SPOOLED = 4 << 30
# The others Python's zipfile unpacks by the piece of packed bytes, and four kilobytes of bzip2 may be gigabytes.
_METHODS = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
_REMEDY = "unpack it and name one file"


class Zipped:
    """The one capture inside, as a stream.

    :ivar inner_name: its name.
    """

    def __init__(self, read: Callable[[int], bytes], fd: int | None, path: str) -> None:
        self._path = path
        try:
            # A descriptor of its own, closed with the archive.
            file = self._on_disk(read) if fd is None else io.FileIO(os.dup(fd), "rb")
            self._check_list(file)
            archive = zipfile.ZipFile(file)
            member = self._choose(archive)
            self._stream: IO[bytes] = archive.open(member)
        except CaptureError:
            raise
        except Exception as error:  # damage shows as any of a dozen errors, and they only mean this
            raise self._damaged() from error
        self.inner_name = member.filename

    def readinto(self, target: memoryview) -> int:
        """Put unpacked bytes into ``target``; 0 at the end."""
        try:
            data = self._stream.read(len(target))
        except Exception as error:  # as above
            raise self._damaged() from error
        target[: len(data)] = data
        return len(data)

    def _on_disk(self, read: Callable[[int], bytes]) -> IO[bytes]:
        """A zip has its list of contents at its end, so one that comes through a pipe goes to disk first."""
        import tempfile

        spool = tempfile.TemporaryFile()  # noqa: SIM115
        while data := read(_PIECE):
            spool.write(data)
            if spool.tell() > _MOST_SPOOLED:
                raise CaptureError(f"is a zip of more than {_MOST_SPOOLED >> 30} GiB in a pipe", "name the file itself",
                                   path=self._path)  # fmt: skip
        return spool

    def _check_list(self, file: IO[bytes]) -> None:
        """Before zipfile holds the list of contents in memory: is it a list that one would want to hold?"""
        size = file.seek(0, os.SEEK_END)
        file.seek(max(0, size - _MOST_BEHIND))
        behind = file.read(_MOST_BEHIND)
        at = behind.rfind(_END_RECORD)
        if at >= 0 and int.from_bytes(behind[at + 12 : at + 16], "little") > _MOST_LISTED:
            raise CaptureError("is a zip of very many files", _REMEDY, path=self._path)
        file.seek(0)

    def _choose(self, archive: zipfile.ZipFile) -> zipfile.ZipInfo:
        members = archive.infolist()
        if len(members) > _MOST_MEMBERS:
            raise CaptureError(f"is a zip of {len(members):,} files", _REMEDY, path=self._path)
        files = [
            member for member in members
            if not member.is_dir() and not any(part.startswith((".", "__")) for part in member.filename.split("/"))
        ]  # fmt: skip
        if len(files) > 1:
            from pdcheck.capture.registry import suffixes  # here, because it opens what may be such an archive

            known = (*suffixes(), *SUFFIXES)
            files = [member for member in files if member.filename.lower().endswith(known)]
            files = [member for member in files if not _name(member).startswith(_TEXTS)] or files
        if not files:
            if any(member.filename in _OF_A_WORKBOOK for member in members):
                raise CaptureError("is a workbook of a spreadsheet", "open it there and save the sheet as CSV",
                                   path=self._path)  # fmt: skip
            raise CaptureError("is a zip without a capture in it", "name the file that the analyzer exported",
                               path=self._path)  # fmt: skip
        if len(files) > 1:
            names = ", ".join(repr(member.filename[-40:]) for member in files[:2])
            raise CaptureError(f"is a zip of {len(files)} captures ({names})", _REMEDY, path=self._path)
        if files[0].flag_bits & 1:
            raise CaptureError("is a zip with a password", _REMEDY, path=self._path)
        if files[0].compress_type not in _METHODS:
            raise CaptureError(
                f"is a zip packed in a rare way (method {files[0].compress_type})", _REMEDY, path=self._path
            )
        return files[0]

    def _damaged(self) -> CaptureError:
        return CaptureError("its zip data is damaged", "copy the file again from where it came", path=self._path)


def _name(member: zipfile.ZipInfo) -> str:
    return member.filename.rsplit("/", 1)[-1].lower()
