"""The undo button of a message: what it takes back travels with the message."""

from __future__ import annotations

from typing import Any

from django import template

register = template.Library()


@register.filter
def undo_token(message: Any) -> str:
    """What the message's button takes back, signed; empty where there is nothing to take back."""
    tags = getattr(message, "extra_tags", "") or ""
    return tags.removeprefix("undo:") if tags.startswith("undo:") else ""
