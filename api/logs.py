"""What a server writes of its work: JSON lines, without a name, a key, a body or an error's own words."""

import logging
import sys
from collections.abc import MutableMapping
from dataclasses import asdict
from traceback import extract_tb
from typing import Any, TextIO

import structlog

from api.http.watched import Answered

_OURS = "settle"
log = logging.getLogger("settle.requests")


def log_request(answered: Answered) -> None:
    """Log one request."""
    log.info("request", extra=asdict(answered) | {"duration_s": round(answered.duration_s, 4)})


def write_logs(stream: TextIO = sys.stderr) -> None:
    """From now on write everything that this process logs as JSON lines; of others, warnings alone."""
    logging.basicConfig(handlers=[json_lines(stream)], level=logging.WARNING, force=True)
    logging.getLogger(_OURS).setLevel(logging.INFO)


def json_lines(stream: TextIO) -> logging.Handler:
    """A handler that writes each record as one JSON object a line."""
    handler = logging.StreamHandler(stream)
    handler.setFormatter(_formatter())
    return handler


def _formatter() -> logging.Formatter:
    return structlog.stdlib.ProcessorFormatter(
        foreign_pre_chain=[
            structlog.contextvars.merge_contextvars,
            structlog.stdlib.add_log_level,
            structlog.stdlib.add_logger_name,
            structlog.stdlib.ExtraAdder(),
            structlog.processors.TimeStamper(fmt="iso", utc=True),
        ],
        processors=[
            _where_it_failed,
            structlog.stdlib.ProcessorFormatter.remove_processors_meta,
            structlog.processors.JSONRenderer(ensure_ascii=False),
        ],
    )


def _where_it_failed(_: Any, __: str, event: MutableMapping[str, Any]) -> MutableMapping[str, Any]:
    """An error's kind and its way through the code: words filled in may repeat what somebody sent."""
    info = event.pop("exc_info", None)
    if info and info[0]:
        event["event"] = str(event["_record"].msg)
        event["error"] = info[0].__name__
        event["where"] = [f"{frame.filename}:{frame.lineno} {frame.name}" for frame in extract_tb(info[2])]
    return event
