"""Django's PostgreSQL, with a cheaper look whether a kept connection is still good."""
