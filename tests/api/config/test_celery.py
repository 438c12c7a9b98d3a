"""The broker that needs no server, and what tests must not hide."""

from pathlib import Path

from celery import current_app, shared_task
from django.conf import settings

from api.config.celery import app


@shared_task(name="tests.count_sheep")
def count_sheep(flock: int) -> None:
    """Stands for any hint."""


def test_app_is_the_one_that_tasks_are_sent_with() -> None:
    assert current_app.main == app.main == "spanstock"
    assert count_sheep.app.conf.broker_url == app.conf.broker_url


def test_tasks_are_not_run_where_they_are_sent() -> None:
    # Eager mode would run the task inside the caller's transaction and swallow its failure.
    assert not app.conf.task_always_eager
    assert app.conf.task_acks_late


def test_schedule_names_tasks_that_exist() -> None:
    app.loader.import_default_modules()
    assert {entry["task"] for entry in app.conf.beat_schedule.values()} <= set(app.tasks)


def test_what_is_learnt_is_looked_at_every_few_minutes_and_every_night() -> None:
    schedule = {entry["task"]: entry["schedule"] for entry in app.conf.beat_schedule.values()}
    assert 0 < schedule["jobs.tasks.learn_where_asked"] <= 600
    nightly = schedule["jobs.tasks.learn_nightly"]
    assert (len(nightly.hour), len(nightly.minute), len(nightly.day_of_week)) == (1, 1, 7)


def test_message_waits_in_the_data_directory_and_is_taken_once() -> None:
    waiting = Path(settings.DATA_DIRECTORY) / "messages" / "waiting"
    with app.connection_for_write() as connection, connection.SimpleQueue("celery") as queue:
        queue.clear()
        count_sheep.delay(41)
        assert len(list(waiting.glob("*.celery.msg"))) == 1
        message = queue.get(timeout=5)
        assert message.headers["task"] == "tests.count_sheep"
        assert message.payload[0] == [41]
        message.ack()
        assert list(waiting.glob("*.celery.msg")) == []
