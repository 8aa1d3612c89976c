"""How a kept picture is sent: to whoever may see it, as a picture and nothing else."""

from __future__ import annotations

from django.db.models.fields.files import FieldFile
from django.http import HttpResponse


def jpeg_answer(kept: FieldFile) -> HttpResponse:
    """The picture; its file never changes, so a browser of the same person may keep it for a day."""
    with kept.open("rb") as picture:
        response = HttpResponse(picture.read(), content_type="image/jpeg")
    response["Cache-Control"] = "private, max-age=86400, immutable"
    response["X-Content-Type-Options"] = "nosniff"
    response["Content-Security-Policy"] = "default-src 'none'; sandbox"
    return response
