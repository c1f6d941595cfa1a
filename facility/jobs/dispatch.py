"""The runner where there is a broker: claims due rows and sends only their numbers; workers run and close them."""

from __future__ import annotations

import logging

from celery import current_app
from kombu.exceptions import OperationalError

from facility.jobs import runner
from facility.jobs.loop import Loop
from facility.jobs.worker import RUN_ROW

log = logging.getLogger(__name__)

BROKER_PAUSE_SECONDS = 5.0


class Dispatcher(Loop):
    """Sends due jobs until it is told to stop. A row whose lease ran out is due again, and so is sent again."""

    def turn(self) -> bool:
        """Store what is due today and send at most one row. Return whether one was sent."""
        now = self.clock()
        self.plan_today(now)
        job = runner.claim_to_send(self.name, now=now)
        if job is None:
            return False
        try:
            current_app.send_task(RUN_ROW, args=[job.pk], retry=False)
        except OperationalError as error:
            runner.release(job)
            log.warning("The broker does not answer (%s); what is due waits in the database.", error)
            self.stopped.wait(BROKER_PAUSE_SECONDS)
            return False
        return True
