"""The web server's own lines in the form that the settings name. Without Django: the server's parent process stays small."""

from __future__ import annotations

import json
import logging
from datetime import UTC, datetime
from typing import Any

from gunicorn.glogging import Logger

from facility.project import env

FORMS = ("plain", "json")


class Json(logging.Formatter):
    """One JSON object a line. Of an error only its sort and places are told: its words may repeat what was sent."""

    def format(self, record: logging.LogRecord) -> str:
        """Return the record as JSON."""
        at = datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds")
        told: dict[str, Any] = {
            "time": at, "level": record.levelname, "logger": record.name, "message": record.getMessage(),
        }  # fmt: skip
        kind, _error, place = record.exc_info or (None, None, None)
        if kind is not None:
            lines = []
            while place is not None:
                code = place.tb_frame.f_code
                lines.append(f"{code.co_filename}:{place.tb_lineno} {code.co_name}")
                place = place.tb_next
            told["error"] = [*lines, kind.__name__]
        return json.dumps(told)


class ServerLog(Logger):  # type: ignore[misc]  # the library tells no types
    """Logs as the settings say."""

    def setup(self, cfg: Any) -> None:
        """Set the form of each line."""
        super().setup(cfg)
        if env.one_of("DEEPSTEAD_LOG_FORMAT", FORMS) == "json":
            for handler in self.error_log.handlers:
                handler.setFormatter(Json())
