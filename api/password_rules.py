"""What makes a password easily guessed: the framework's rules, in our own words."""

from django.contrib.auth import password_validation as rules
from django.utils.translation import gettext as said
from django.utils.translation import ngettext


class NotLikeYourName(rules.UserAttributeSimilarityValidator):
    def get_error_message(self) -> str:
        return said("This is too much like your name or your address of mail; choose another.")

    def get_help_text(self) -> str:
        return said("Nothing much like your name or your address of mail.")


class LongEnough(rules.MinimumLengthValidator):
    def get_error_message(self) -> str:
        return (
            ngettext(
                "This is too short: write %d character or more.",
                "This is too short: write %d characters or more.",
                self.min_length,
            )
            % self.min_length
        )

    def get_help_text(self) -> str:
        return (
            ngettext("%d character or more.", "%d characters or more.", self.min_length)
            % self.min_length
        )


class NotCommon(rules.CommonPasswordValidator):
    def get_error_message(self) -> str:
        return said("This is too common: many people use it, and it is tried first.")

    def get_help_text(self) -> str:
        return said("None that many people use.")


class NotDigitsAlone(rules.NumericPasswordValidator):
    def get_error_message(self) -> str:
        return said("This has digits alone; add words.")

    def get_help_text(self) -> str:
        return said("Not of digits alone.")
