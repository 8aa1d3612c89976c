"""Work beside the request: to the queue where there is one, else, or with its server away, to a thread."""

from __future__ import annotations

import threading

import pytest
from kombu.exceptions import OperationalError

from fleet import background, tasks
from fleet.celery import app


@pytest.fixture
def done():
    return threading.Event()


def work_for(done):
    def work(what):
        assert what == "hours"
        done.set()

    return work


@pytest.fixture
def queue(monkeypatch, settings):
    sent = []
    settings.REDIS_URL = "redis://queue.example.org"
    monkeypatch.setattr(app, "send_task", lambda name, kwargs, retry: sent.append((name, kwargs)))
    return sent


def test_without_a_queue_a_thread_does_it(settings, done):
    settings.REDIS_URL = ""
    background.start(work_for(done), task="fleet.some", what="hours")
    assert done.wait(5)


def test_with_a_queue_a_worker_does_it(queue, done):
    background.start(work_for(done), task="fleet.some", what="hours")
    assert queue == [("fleet.some", {"what": "hours"})]
    assert not done.wait(0.2)


def test_with_the_queue_away_a_thread_does_it(queue, monkeypatch, done):
    def away(*args, **kwargs):
        raise OperationalError("no answer")

    monkeypatch.setattr(app, "send_task", away)
    background.start(work_for(done), task="fleet.some", what="hours")
    assert done.wait(5)


@pytest.mark.django_db(transaction=True)
def test_work_that_fails_ends_quietly_and_is_logged(settings, caplog):
    settings.REDIS_URL = ""

    def broken():
        raise RuntimeError("power cut")

    background._run(broken, {})
    assert "power cut" in caplog.text


def test_every_task_named_by_a_page_is_there():
    assert tasks.take_uploaded_files.name == "fleet.take_files"
    assert {"fleet.take_files", "fleet.refresh_after_change", "fleet.refresh_season"} <= set(app.tasks)
    # Below the time after which the queue would hand it out a second time.
    assert tasks.take_uploaded_files.time_limit < app.conf.broker_transport_options["visibility_timeout"]
