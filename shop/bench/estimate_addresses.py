"""The private address of an estimate: a random number with the portal's signature; found, or not there at all.

A number of 128 bits cannot be guessed; the signature keeps a copy of the database from opening anything.
"""

from __future__ import annotations

from django.core import signing

from fleet.clock import today_at
from fleet.models import Membership, Role
from fleet.models.people import in_office
from shop.models import EstimateAddress


def _signer() -> signing.Signer:
    return signing.Signer(sep=".", salt="shop.estimate")


def token_of(address: EstimateAddress) -> str:
    """What stands in the letter's address."""
    return _signer().sign(address.nonce)


def find_estimate(token: str) -> EstimateAddress | None:
    """The address behind a token, if it is ours and its person still is an owner; two queries.

    Whether the estimate still stands is asked of ``why_over``.
    """
    try:
        nonce = _signer().unsign(token)
    except signing.BadSignature:
        return None
    rows = EstimateAddress.objects.known().select_related(
        "estimate__line__drop_off__contractor", "estimate__line__drop_off__shop__bench",
        "estimate__line__drop_off__crew", "estimate__line__trimmer__model", "estimate__line__shop",
        "estimate__answered", "person",
    )  # fmt: skip
    found: EstimateAddress | None = rows.filter(nonce=nonce).first()
    if found is None:
        return None
    today = today_at(found.estimate.line.drop_off.contractor)
    owners = Membership.objects.filter(in_office(today), role=Role.OWNER)
    return found if owners.filter(user=found.person_id, contractor=found.contractor_id).exists() else None
