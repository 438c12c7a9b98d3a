"""Background work: the Celery application, its broker and its schedule.

A message is only a hint that there is something to do. What is to be done stands in tables, written in
the transaction that caused it, and a sweep on the schedule picks up what no message told of. So a broker
may lose messages (the embedded one does when its worker is killed) without losing work.
"""

import os
from typing import Any

from celery import Celery
from celery.schedules import crontab
from celery.signals import before_task_publish, task_postrun, task_prerun

from api.config import environment
from api.config.logs import get_request_id, set_request_id

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "api.config.settings")


BROKER_PATIENCE_S = 5


def _broker() -> dict[str, Any]:
    """The operator's broker, or a folder of message files, which needs no server and no package more."""
    if environment.BROKER_URL.startswith(("redis:", "rediss:")):
        # Without these a web process that sends a hint would wait for ever on a host that does not answer.
        options = {"socket_connect_timeout": BROKER_PATIENCE_S, "socket_keepalive": True}
        return {"broker_url": environment.BROKER_URL, "broker_transport_options": options}
    if environment.BROKER_URL:
        return {"broker_url": environment.BROKER_URL}
    folder = environment.DATA_DIRECTORY / "messages"
    for name in ("waiting", "control"):
        (folder / name).mkdir(parents=True, exist_ok=True)
    return {
        # A host nobody looks up: without one kombu warns at every start.
        "broker_url": "filesystem://localhost",
        "broker_transport_options": {
            # One folder both ways: whoever sends and whoever receives are on this machine.
            "data_folder_in": str(folder / "waiting"),
            "data_folder_out": str(folder / "waiting"),
            "control_folder": str(folder / "control"),
        },
    }


SEAL_EVERY_S = 5
RESTOCK_EVERY_S = 60
WATCH_FOR_REPORTS_EVERY_S = 300
LEARN_EVERY_S = 60
CLOSE_DAYS_EVERY_S = 120
WATCH_FLUID_EVERY_S = 60
# Days pass slowly: what becomes due at midnight is told within the hour.
WATCH_LIMITS_EVERY_S = 3600
FORGET_SIGN_INS_EVERY_S = 900
IMPORT_EVERY_S = 30
FORGET_ANSWERS_EVERY_S = 3600
WEBHOOKS_EVERY_S = 5

# A sweep that its worker did not reach before the next one is due may be dropped: the next does its work.
SCHEDULE: dict[str, Any] = {
    "seal what was posted": {
        "task": "inventory.tasks.seal_posted",
        "schedule": SEAL_EVERY_S,
        "options": {"expires": SEAL_EVERY_S},
    },
    "restock": {
        "task": "inventory.tasks.work_restock_chunks",
        "schedule": RESTOCK_EVERY_S,
        "options": {"expires": RESTOCK_EVERY_S},
    },
    "watch for reports": {
        "task": "jobs.tasks.watch_for_reports",
        "schedule": WATCH_FOR_REPORTS_EVERY_S,
        "options": {"expires": WATCH_FOR_REPORTS_EVERY_S},
    },
    "learn where reports ask for it": {
        "task": "jobs.tasks.learn_where_asked",
        "schedule": LEARN_EVERY_S,
        "options": {"expires": LEARN_EVERY_S},
    },
    "sweep files": {"task": "jobs.tasks.sweep_files", "schedule": crontab(hour=4, minute=10)},
    "learn nightly": {"task": "jobs.tasks.learn_nightly", "schedule": crontab(hour=3, minute=10)},
    "refresh recovery": {
        "task": "jobs.tasks.refresh_recovery",
        "schedule": LEARN_EVERY_S,
        "options": {"expires": LEARN_EVERY_S},
    },
    "watch fluid": {
        "task": "inventory.tasks.watch_fluid",
        "schedule": WATCH_FLUID_EVERY_S,
        "options": {"expires": WATCH_FLUID_EVERY_S},
    },
    "tell webhooks": {
        "task": "api.tasks.tell_webhooks",
        "schedule": WEBHOOKS_EVERY_S,
        "options": {"expires": WEBHOOKS_EVERY_S},
    },
    "forget ended sign-ins": {
        "task": "api.tasks.forget_ended_sign_ins",
        "schedule": FORGET_SIGN_INS_EVERY_S,
        "options": {"expires": FORGET_SIGN_INS_EVERY_S},
    },
    "forget old answers": {
        "task": "api.tasks.forget_old_answers",
        "schedule": FORGET_ANSWERS_EVERY_S,
        "options": {"expires": FORGET_ANSWERS_EVERY_S},
    },
    "take imports": {
        "task": "api.tasks.work_imports",
        "schedule": IMPORT_EVERY_S,
        "options": {"expires": IMPORT_EVERY_S},
    },
    "close periods": {
        "task": "jobs.tasks.work_closings",
        "schedule": CLOSE_DAYS_EVERY_S,
        "options": {"expires": CLOSE_DAYS_EVERY_S},
    },
    "watch limits": {
        "task": "inventory.tasks.watch_limits",
        "schedule": WATCH_LIMITS_EVERY_S,
        "options": {"expires": WATCH_LIMITS_EVERY_S},
    },
    "close days": {
        "task": "jobs.tasks.close_days",
        "schedule": CLOSE_DAYS_EVERY_S,
        "options": {"expires": CLOSE_DAYS_EVERY_S},
    },
}

app = Celery("spanstock")
app.conf.update(
    **_broker(),
    # Told only when done: a worker that dies in the middle leaves the message to another, where the
    # broker can. Tasks are safe to run twice.
    task_acks_late=True,
    task_reject_on_worker_lost=True,
    worker_prefetch_multiplier=1,
    # What a task did is seen in the tables, not in a second store of results.
    task_ignore_result=True,
    # Whoever sends a hint has committed its work already and must not be kept waiting by a broker.
    task_publish_retry_policy={"max_retries": 2, "interval_start": 0.1, "interval_max": 0.5},
    timezone="UTC",
    # A broker that is away for a day is come back to; nothing is lost meanwhile, since the work is in tables.
    broker_connection_retry_on_startup=True,
    broker_connection_max_retries=None,
    broker_connection_timeout=BROKER_PATIENCE_S,
    # Django has set up logging already.
    worker_hijack_root_logger=False,
    beat_schedule_filename=str(environment.DATA_DIRECTORY / "schedule"),
    beat_schedule=SCHEDULE,
)
app.autodiscover_tasks()


@before_task_publish.connect
def send_request_id(headers: dict[str, Any], **kwargs: Any) -> None:
    """Let the task know which request it is for, so that its log lines say so too."""
    if get_request_id():
        headers["request_id"] = get_request_id()


@task_prerun.connect
def take_request_id(task: Any, **kwargs: Any) -> None:
    set_request_id(str(getattr(task.request, "request_id", None) or ""))


@task_postrun.connect
def drop_request_id(**kwargs: Any) -> None:
    set_request_id("")
