"""How accounts come to be: by invitation only."""

from __future__ import annotations

from allauth.account.adapter import DefaultAccountAdapter
from django.http import HttpRequest


class InvitationOnlyAdapter(DefaultAccountAdapter):
    """Nobody signs up on their own: an owner, manager or administrator invites."""

    def is_open_for_signup(self, request: HttpRequest) -> bool:
        return False
