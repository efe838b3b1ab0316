"""What a maker chooses about its alerts: which, when, and what others may learn of its use."""

import zoneinfo
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import time
from typing import Final
from uuid import UUID
from zoneinfo import ZoneInfo

from ledger.access import Actor
from ledger.errors import (
    Invalid,
    Sentence,
    Stale,
)
from ledger.models import AlertKind, AlertSetting, Maker
from ledger.quiet_hours import Clock
from ledger.roles import Verb

AT_ONCE, DIGEST, NEVER = AlertSetting.Telling
# What has to be done today goes at once; what has time, with the rest in the morning.
DEFAULT_TOLD: Final[Mapping[str, str]] = {
    AlertKind.CALLED_BACK: AT_ONCE,
    AlertKind.LOW_STOCK: AT_ONCE,
    AlertKind.BATCH_SHORT: AT_ONCE,
    AlertKind.PRICE_JUMP: AT_ONCE,
    AlertKind.EXPIRING: DIGEST,
    AlertKind.RETEST_DUE: DIGEST,
    AlertKind.QUARANTINE_AGEING: DIGEST,
    AlertKind.DEPOSIT_UNCLAIMED: DIGEST,
}


@dataclass(frozen=True, slots=True)
class Choices:
    """A maker's choices: days before an expiry or a retest, and of quarantine, hours of its clock.

    A price that rises by more than `price_jump_percent` is told, and a deposit that has been out
    for `deposit_days`.

    What `told` does not name goes as it does by default.
    """

    told: Mapping[str, str] = field(default_factory=dict)
    digest_hour: int = 8
    quiet_from: time | None = None
    quiet_until: time | None = None
    time_zone: str = ""
    expiring_days: int = 30
    retest_days: int = 14
    quarantine_days: int = 7
    price_jump_percent: int = 10
    deposit_days: int = 60
    use_told: str = AlertSetting.UseTold.NOBODY
    version: int = 0

    def telling(self, kind: str) -> str:
        """Whether a kind is told at once, in the digest or never."""
        return self.told.get(kind) or DEFAULT_TOLD[kind]

    def clock(self, coop_zone: str) -> Clock:
        """The maker's hours, by its own time zone or the co-op's."""
        zone = ZoneInfo(self.time_zone or coop_zone)
        return Clock(zone, self.digest_hour, self.quiet_from, self.quiet_until)


_COLUMNS: Final = tuple(name for name in Choices.__slots__ if name != "version")


def choices_of(maker_id: UUID) -> Choices:
    """The choices of a maker inside its walls, or the usual ones."""
    row = AlertSetting.objects.filter(maker_id=maker_id).first()
    if row is None:
        return Choices()
    return Choices(**{name: getattr(row, name) for name in Choices.__slots__})


def alert_settings(actor: Actor) -> Choices:
    """The maker's choices. Raises Forbidden."""
    actor.must(Verb.READ)
    return choices_of(actor.maker)


def choose(actor: Actor, choices: Choices, *, version: int | None = None) -> Choices:
    """Set all of them; they hold from the next alert on.

    Raises Stale when `version` is given and is not theirs, and Invalid for a time zone that is not
    known and for quiet hours that have no end or no length.
    """
    actor.must(Verb.SET_ALERTS)
    if choices.time_zone and choices.time_zone not in zoneinfo.available_timezones():
        raise Invalid(
            Sentence(
                "{time_zone!r} is not a time zone; write one such as Europe/Paris.",
                time_zone=choices.time_zone,
            ),
            pointer="/time_zone",
        )
    hours = (choices.quiet_from, choices.quiet_until)
    if (hours[0] is None) != (hours[1] is None) or (hours[0] is not None and hours[0] == hours[1]):
        raise Invalid(
            "Quiet hours have a beginning and another end: 21:00 and 07:00. Leave out both for"
            " none.",
            pointer="/quiet_until",
        )
    # One at a time: the maker is there before its choices are.
    Maker.objects.select_for_update(no_key=True).get(id=actor.maker)
    row = AlertSetting.objects.filter(maker_id=actor.maker).first()
    if version is not None and version != (row.version if row else 0):
        raise Stale
    if row is None:
        row = AlertSetting(coop_id=actor.coop_id, maker_id=actor.maker)
    else:
        row.version += 1
    for name in _COLUMNS:
        setattr(row, name, getattr(choices, name))
    row.save()
    return choices_of(actor.maker)
