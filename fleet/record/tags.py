"""The address on a unit's printed tag: replaced when the tag is lost, so that whoever finds it finds nothing."""

from __future__ import annotations

from fleet.models import Trimmer
from fleet.models.people import new_token


def replace_tag(*, unit: Trimmer) -> str:
    """A new address for the unit's tag; the old one is dead from now on."""
    token = new_token()
    Trimmer.objects.filter(pk=unit.pk).update(tag_token=token)
    unit.tag_token = token
    return token
