"""What every page needs around its own content: navigation, who is signed in, whether the data is invented."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest


def page_context(request: HttpRequest) -> dict[str, Any]:
    """Context processor for ``base.html``."""
    from fleet.sections import navigation_for

    access = getattr(request, "access", None)
    if access is None or not request.user.is_authenticated:
        return {"nav": [], "who": "", "invented": False}
    path = request.path
    nav = [
        {
            "label": item.label,
            "url": url,
            "current": path == url or (url != "/" and path.startswith(url)),
            "seldom": item.seldom(access),
        }
        for item, url in navigation_for(access)
    ]
    places = [str(m.crew or m.contractor or m.shop or "") for m in access.memberships]
    return {
        "nav": nav,
        "nav_often": [item for item in nav if not item["seldom"]],
        "nav_seldom": [item for item in nav if item["seldom"]],
        "nav_seldom_current": any(item["seldom"] and item["current"] for item in nav),
        "who": " · ".join(p for p in dict.fromkeys(places) if p) or str(request.user),
        "invented": _invented(access),
        "theme": request.user.theme,
    }


def _invented(access: Any) -> bool:
    return access.contractors().filter(invented=True).exists()
