"""Kinds of damage to whole files, each by name: the file must be refused, or may land if the damage missed it."""

from __future__ import annotations

import random
from collections.abc import Callable

from .malformed import ENTRY_FILES, File, Fleet, Row, choose, harmful


def _raw(file: File, change: Callable[[random.Random, bytes], bytes], *, refused: bool) -> None:
    file.raw.append(change)
    file.refused = file.refused or refused
    file.open = file.open or not refused
    file.lines_known = False


@harmful
def quotes_that_do_not_pair(rng: random.Random, fleet: Fleet) -> None:
    file = fleet["failures"]
    file.xlsx = False
    row = rng.choice(file.rows)

    def change(_rng: random.Random, data: bytes) -> bytes:
        return data.replace(b"QQ", b'"')

    row.cells[file.place("what")] = "QQnever closed"
    file.encoding = "utf-8"
    _raw(file, change, refused=True)


@harmful
def missing_column(rng: random.Random, fleet: Fleet) -> None:
    name, column = rng.choice([("moves", "crew"), ("guard", "date"), ("services", "task"), ("failures", "component")])
    file = fleet[name]
    file.header[file.place(column)] = "Something else"
    file.refused = True
    file.lines_known = False


@harmful
def column_twice(rng: random.Random, fleet: Fleet) -> None:
    file = choose(rng, fleet, "moves", "guard", "failures")
    file.header.append("UNIT")
    for row in file.rows:
        row.cells.append("T-1")
    file.refused = True
    file.lines_known = False


@harmful
def no_header(rng: random.Random, fleet: Fleet) -> None:
    file = choose(rng, fleet)
    file.header = list(file.rows[0].cells)
    file.refused = True
    file.lines_known = False


@harmful
def other_separator_below_the_header(rng: random.Random, fleet: Fleet) -> None:
    file = choose(rng, fleet, *ENTRY_FILES)
    file.xlsx = False
    file.encoding = "utf-8"
    file.delimiter = ","

    def change(_rng: random.Random, data: bytes) -> bytes:
        head, end, rest = data.partition(file.newline.encode())
        while not head.strip():
            head, end, rest = rest.partition(file.newline.encode())
        return head + end + rest.replace(b",", b";")

    file.above = ""
    _raw(file, change, refused=True)


@harmful
def cut_off(rng: random.Random, fleet: Fleet) -> None:
    _raw(choose(rng, fleet), lambda r, data: data[: r.randrange(len(data))], refused=False)


@harmful
def empty_file(rng: random.Random, fleet: Fleet) -> None:
    _raw(choose(rng, fleet), lambda r, data: r.choice([b"", b"\n\n", b"\xef\xbb\xbf", b" , ,\n"]), refused=True)


@harmful
def binary_garbage(rng: random.Random, fleet: Fleet) -> None:
    file = choose(rng, fleet)
    _raw(file, lambda r, data: r.randbytes(r.choice((1, 50, 3000))), refused=True)


@harmful
def pictures_and_old_workbooks(rng: random.Random, fleet: Fleet) -> None:
    starts = [b"\x89PNG\r\n\x1a\n", b"%PDF-1.7\n", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", b"PK\x03\x04", b"\xff\xd8\xff"]
    _raw(choose(rng, fleet), lambda r, data: r.choice(starts) + r.randbytes(400), refused=True)


@harmful
def flipped_bytes(rng: random.Random, fleet: Fleet) -> None:
    def change(r: random.Random, data: bytes) -> bytes:
        spoiled = bytearray(data)
        for _ in range(r.choice((1, 3, 30))):
            spoiled[r.randrange(len(spoiled))] = r.randrange(256)
        return bytes(spoiled)

    _raw(choose(rng, fleet), change, refused=False)


@harmful
def corrupted_workbook(rng: random.Random, fleet: Fleet) -> None:
    file = choose(rng, fleet)
    file.xlsx = True
    file.above = ""

    def change(r: random.Random, data: bytes) -> bytes:
        middle = len(data) // 2
        return data[: middle - 200] + r.randbytes(r.choice((0, 400))) + data[middle + 200 :]

    _raw(file, change, refused=False)


@harmful
def text_named_as_a_workbook(rng: random.Random, fleet: Fleet) -> None:
    file = choose(rng, fleet)
    file.xlsx = True
    _raw(file, lambda r, data: b"unit,date,guard\nT-1,2026-04-01,on\n", refused=True)


@harmful
def another_files_content(rng: random.Random, fleet: Fleet) -> None:
    one, other = rng.sample(["moves", "guard", "services", "failures"], 2)
    a, b = fleet[one], fleet[other]
    a.header, a.rows = list(b.header), [Row(list(row.cells)) for row in b.rows]
    if other == "moves" or one != "moves":
        a.refused = True
    a.open = not a.refused
    a.lines_known = False
    a.__dict__.pop("place", None)


@harmful
def mixed_encodings(rng: random.Random, fleet: Fleet) -> None:
    def change(r: random.Random, data: bytes) -> bytes:
        return data + "señor".encode("utf-16-le") + b"\x81\xff" + "señor".encode() + b"\n"

    file = fleet["failures"]
    file.xlsx = False
    _raw(file, change, refused=True)
