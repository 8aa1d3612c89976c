"""Pictures of a line, wherever they are shown."""

from __future__ import annotations

from collections.abc import Callable

from django.http import Http404, HttpResponse

from shop.models import BenchPhoto, DropOffLine


def pictures_of(line: DropOffLine, address: Callable[[int], str]) -> list[dict[str, object]]:
    """The line's pictures in the order they were taken, each at the address that ``address`` makes; one query."""
    rows = BenchPhoto.objects.known().filter(line=line).order_by("pk")
    return [{"url": address(photo.pk), "photo": photo} for photo in rows]


def picture_itself(line: DropOffLine, pk: int) -> HttpResponse:
    """One picture of the line; 404 for any other's."""
    found = BenchPhoto.objects.known().filter(line=line, pk=pk).first()
    if found is None:
        raise Http404
    with found.picture.open("rb") as content:
        response = HttpResponse(content.read(), content_type="image/jpeg")
    response["Cache-Control"] = "private, max-age=86400"
    return response
