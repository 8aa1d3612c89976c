"""QR codes (ISO/IEC 18004) of addresses, made so that a phone reads them from a worn label."""

from __future__ import annotations

import io
from functools import lru_cache

import segno

# Clear space on each side, in modules, as the standard asks for.
QUIET_MODULES = 4
# A phone camera reads finer ones too, but not through grease and scratches (common practice).
MODULE_MM = 0.43
# Most of a code may be lost at H (about 30 %), least at L (about 7 %).
_LEVELS = ("h", "q", "m", "l")
# Dots of the picture for each module: enough that no viewer blurs its edges.
_DOTS = 8


@lru_cache(maxsize=256)
def _level_for(length: int, side_mm: float) -> str:
    """The level that bears the most damage while modules stay large enough; every text of one length takes the same."""
    for level in _LEVELS:
        code = segno.make_qr("a" * length, error=level, boost_error=False)
        if module_mm(code, side_mm) >= MODULE_MM:
            return level
    return _LEVELS[-1]


def code_of(address: str, side_mm: float) -> segno.QRCode:
    """The code of an address for a square of ``side_mm``, its clear space included."""
    level = _level_for(len(address.encode()), round(side_mm, 2))
    return segno.make_qr(address, error=level, mode="byte", boost_error=False)


def module_mm(code: segno.QRCode, side_mm: float) -> float:
    """How large one module is when the code with its clear space takes ``side_mm``."""
    return side_mm / float(code.symbol_size(border=QUIET_MODULES)[0])


def code_picture(address: str, side_mm: float) -> bytes:
    """The code as a black and white PNG with its clear space."""
    content = io.BytesIO()
    code_of(address, side_mm).save(content, kind="png", scale=_DOTS, border=QUIET_MODULES)
    return content.getvalue()
