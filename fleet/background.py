"""Work too long for a request: done in a thread of this process, with a database connection of its own."""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable
from typing import Any

from django.db import close_old_connections, connection

log = logging.getLogger(__name__)


def start(work: Callable[..., Any], **kwargs: Any) -> None:
    """Run ``work`` beside the request. It must be safe to run again: a process that ends takes it along."""
    threading.Thread(target=_run, args=(work, kwargs), name=work.__name__, daemon=True).start()


def _run(work: Callable[..., Any], kwargs: dict[str, Any]) -> None:
    close_old_connections()
    try:
        work(**kwargs)
    except Exception:
        log.exception("%s failed", work.__name__)
    finally:
        connection.close()
