"""`manage.py collect_sentences`: what refusals and cautions say, for whoever translates it."""

from typing import Any

from django.core.management.base import BaseCommand

from api import sentences


class Command(BaseCommand):
    help = "Write a gettext template (POT) of what the domain says; makemessages finds the rest."

    def handle(self, **options: Any) -> None:
        found = sentences.sentences(sentences.program())
        self.stdout.write(sentences.template(found))
