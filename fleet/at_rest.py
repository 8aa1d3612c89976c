"""Python's collector of cyclic garbage, told to wait while very many small objects come and go at once."""

from __future__ import annotations

import gc
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def collector_at_rest() -> Iterator[None]:
    """A million rows read, or the boxes of a paper, all live to the end: looking through them again is for nothing."""
    on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if on:
            gc.enable()


def set_aside_what_stays() -> None:
    """What a server has loaded lives as long as it does: the collector need not look through it amid a page.

    A look through all that Django, numpy and scipy bring along takes about 85 ms, more than most pages take.
    """
    gc.collect()
    gc.freeze()
