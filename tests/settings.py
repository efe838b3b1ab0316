"""The server's own settings; only passwords are hashed quickly.

Dozens of co-ops are opened for the tests, and at full strength each would cost seconds.
"""

from django.contrib.auth.hashers import PBKDF2PasswordHasher

from deploy.settings import *  # noqa: F403


class QuickHasher(PBKDF2PasswordHasher):
    """The usual one with few rounds."""

    iterations = 1_000


PASSWORD_HASHERS = ["tests.settings.QuickHasher"]
