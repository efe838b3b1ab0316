"""How a line of the log looks."""

import logging
import time
from types import TracebackType

INDENT = "    "


def on_one_line(text: str) -> str:
    """The text with whatever is no printable character spelt out."""
    return "".join(char if char.isprintable() else repr(char)[1:-1] for char in text)


def indented(text: str) -> str:
    """Lines that cannot be taken for the beginning of a record."""
    return "\n".join(INDENT + on_one_line(line) for line in text.split("\n"))


class OneLine(logging.Formatter):
    """One record, one line: what somebody sent cannot forge a second one. Times are UTC.

    A traceback follows on lines of its own, each of them indented, since its last words may be
    somebody's text.
    """

    converter = staticmethod(time.gmtime)
    default_msec_format = "%s.%03dZ"
    default_time_format = "%Y-%m-%dT%H:%M:%S"

    def __init__(self) -> None:
        super().__init__("%(asctime)s %(levelname)s %(name)s: %(message)s")

    def formatMessage(self, record: logging.LogRecord) -> str:
        """The record's own line."""
        return on_one_line(super().formatMessage(record))

    def formatException(
        self,
        ei: tuple[type[BaseException], BaseException, TracebackType | None]
        | tuple[None, None, None],
    ) -> str:
        """The traceback."""
        return indented(super().formatException(ei))

    def formatStack(self, stack_info: str) -> str:
        """The stack."""
        return indented(super().formatStack(stack_info))
