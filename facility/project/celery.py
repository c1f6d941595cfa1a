"""The Celery app that the tasks belong to.

Without DEEPSTEAD_BROKER_URL there is no broker: the job runner calls the tasks in its own
process. The truth about a job is always its row in the database, never a message.
"""

from __future__ import annotations

import os

from celery import Celery
from celery.signals import setup_logging

from facility.project import env

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "facility.project.settings")

BROKER_URL = env.text("DEEPSTEAD_BROKER_URL")
QUEUE = env.text("DEEPSTEAD_QUEUE", "deepstead")
#: what several installations on one Redis are kept apart by
TRANSPORT = {"global_keyprefix": f"{QUEUE}."} if BROKER_URL.startswith("redis") else {}

app = Celery("deepstead", set_as_current=True)
app.conf.update(
    broker_url=BROKER_URL or None,
    broker_transport_options=TRANSPORT,
    broker_connection_timeout=4,
    broker_connection_retry_on_startup=True,
    task_default_queue=QUEUE,
    worker_enable_remote_control=False,
    task_always_eager=not BROKER_URL,
    task_acks_late=True,
    task_reject_on_worker_lost=True,
    task_ignore_result=True,
    worker_prefetch_multiplier=1,
    timezone="UTC",
    enable_utc=True,
)


@setup_logging.connect
def _leave_logging(**_: object) -> None:
    """Let workers log as the settings say, not as Celery would: its lines repeat what a task was told."""


app.autodiscover_tasks(["facility.jobs"])
app.autodiscover_tasks(["facility.jobs"], related_name="worker")
