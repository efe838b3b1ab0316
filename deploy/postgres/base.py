"""The database engine of the settings (Django looks for it under this name)."""

import select

from django.db.backends.postgresql import base


class DatabaseWrapper(base.DatabaseWrapper):
    """PostgreSQL, asked for nothing before a connection is used again."""

    def is_usable(self) -> bool:
        """Whether the server has kept silent: unasked it speaks only to say that it goes.

        Django's own look is a round trip before every request. A server that is gone without a
        word, as when a cable is cut, is found out by the first statement in either case.
        """
        if self.connection is None or self.connection.closed:
            return False
        heard = select.poll()
        heard.register(self.connection.fileno(), select.POLLIN)
        return not heard.poll(0)
