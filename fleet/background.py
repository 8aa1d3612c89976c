"""Work too long for a request: given to a worker where there is a queue, else to a thread of this process."""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable
from typing import Any

from django.conf import settings
from django.db import close_old_connections, connection
from kombu.exceptions import OperationalError

from fleet.celery import app

log = logging.getLogger(__name__)


def start(work: Callable[..., Any], *, task: str = "", **kwargs: Any) -> None:
    """Run ``work`` beside the request. It must be safe to run again: a process that ends takes it along.

    ``task`` names the task that does the same in a worker; without a queue, or with its server away, a thread does it.
    """
    if task and settings.REDIS_URL:
        try:
            app.send_task(task, kwargs=kwargs, retry=False)
        except (OperationalError, OSError):
            log.warning("The queue does not answer; %s runs in this process", task)
        else:
            return
    threading.Thread(target=_run, args=(work, kwargs), name=work.__name__, daemon=True).start()


def _run(work: Callable[..., Any], kwargs: dict[str, Any]) -> None:
    close_old_connections()
    try:
        work(**kwargs)
    except Exception:
        log.exception("%s failed", work.__name__)
    finally:
        connection.close()
