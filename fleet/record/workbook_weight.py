"""How much a workbook's XML would make its reader do, found out at little cost before it is read.

A few kilobytes of zip unpack to millions of empty elements, each of which the reader turns into an object; and a
document type definition can multiply what it names. Both are refused. Nothing here goes by the names of the parts: a
sheet or a style may lie under any name.
"""

from __future__ import annotations

from typing import IO
from xml.parsers import expat

CHUNK = 1 << 16
# What sheets and their texts are made of; a full import has millions of these, and of anything else but a few.
_BULK = frozenset({"row", "c", "v", "f", "is", "t", "si", "r"})
MOST_IN_ROW = 20_000
MOST_CELLS = 8_000_000
MOST_BULK = 20_000_000
MOST_OTHERS = 300_000


class Definitions(Exception):
    """The XML holds a document type definition."""


class TooMuch(Exception):
    """The workbook holds more elements than any set of entries has."""


class Weight:
    """Counts the elements of a workbook's parts, one part after the other, and raises as soon as there are too many."""

    def __init__(self) -> None:
        self.cells = self.bulk = self.others = self.in_row = 0

    def add(self, stream: IO[bytes]) -> None:
        """Count one part; what is no XML counts for nothing, and damage is for the reader to find."""
        parser = expat.ParserCreate()
        parser.StartDoctypeDeclHandler = self._definition
        parser.StartElementHandler = self._element
        self.in_row = 0
        try:
            while chunk := stream.read(CHUNK):
                parser.Parse(chunk, False)
        except expat.ExpatError:
            return

    def _definition(self, *_told: object) -> None:
        raise Definitions

    def _element(self, name: str, _attributes: object) -> None:
        name = name.rpartition(":")[2]
        if name not in _BULK:
            self.others += 1
            if self.others > MOST_OTHERS:
                raise TooMuch
            return
        self.bulk += 1
        if name == "row":
            self.in_row = 0
        elif name == "c":
            self.cells += 1
            self.in_row += 1
        if self.in_row > MOST_IN_ROW or self.cells > MOST_CELLS or self.bulk > MOST_BULK:
            raise TooMuch
