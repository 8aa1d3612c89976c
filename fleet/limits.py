"""How often something may be tried. Counted in the cache, so that all processes count together."""

from __future__ import annotations

import time
from dataclasses import dataclass

from django.conf import settings
from django.core.cache import cache
from django.http import HttpRequest


@dataclass(frozen=True)
class Limit:
    """At most ``tries`` in each stretch of ``seconds``."""

    name: str
    tries: int
    seconds: int

    def _key(self, whom: object) -> str:
        return f"limit:{self.name}:{whom}:{int(time.time()) // self.seconds}"

    def take(self, whom: object) -> bool:
        """Count one try, before it is made; false when there were too many."""
        key = self._key(whom)
        cache.add(key, 0, self.seconds)
        try:
            count = cache.incr(key)
        except ValueError:  # ran out between the two calls
            cache.set(key, 1, self.seconds)
            return True
        cache.touch(key, self.seconds)
        return count <= self.tries

    def give_back(self, whom: object) -> None:
        """Uncount a try that was right: only failures add up."""
        key = self._key(whom)
        if cache.get(key):
            cache.decr(key)
            cache.touch(key, self.seconds)


def address_of(request: HttpRequest) -> str:
    """The address a request comes from, behind as many proxies as are trusted."""
    trusted: int = settings.ALLAUTH_TRUSTED_PROXY_COUNT
    if trusted:
        hops = [hop.strip() for hop in request.META.get("HTTP_X_FORWARDED_FOR", "").split(",") if hop.strip()]
        if len(hops) >= trusted:
            return str(hops[-trusted])
    return str(request.META.get("REMOTE_ADDR", ""))
