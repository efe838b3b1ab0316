"""How a line of the log looks."""

import logging
import time


class OneLine(logging.Formatter):
    """One record, one line: what somebody sent cannot forge a second one. Times are UTC."""

    converter = staticmethod(time.gmtime)
    default_msec_format = "%s.%03dZ"
    default_time_format = "%Y-%m-%dT%H:%M:%S"

    def __init__(self) -> None:
        super().__init__("%(asctime)s %(levelname)s %(name)s: %(message)s")

    def formatMessage(self, record: logging.LogRecord) -> str:
        """The record's line; a traceback, which is ours, follows on lines of its own."""
        line = super().formatMessage(record)
        return "".join(char if char.isprintable() else repr(char)[1:-1] for char in line)
