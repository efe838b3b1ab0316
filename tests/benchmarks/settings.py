"""The server's own settings; only the addresses are more, by those of the plain view."""

from deploy.settings import *  # noqa: F403

ROOT_URLCONF = "tests.benchmarks.urls"
