"""`manage.py makemessages`: Django's own, which also finds what modules say at once by `said`."""

from typing import Any

from django.core.management.commands import makemessages


class Command(makemessages.Command):
    def handle(self, *args: Any, **options: Any) -> None:
        self.xgettext_options = [*self.xgettext_options, "--keyword=said"]
        super().handle(*args, **options)
