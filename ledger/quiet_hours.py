"""When a message may go: the hour of a daily digest, and the hours in which nobody is disturbed.

All by the wall clock of a time zone, moments in and out with their offset. A wall time that the
clocks skip in spring is taken as that much after the last hour before it; one that they show twice
in autumn is, for a digest, the first of the two.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo


@dataclass(frozen=True, slots=True)
class Clock:
    """The hours of a maker: when the digest goes, and from when until when it is quiet.

    Quiet hours may go over midnight; None for both is never quiet.
    """

    zone: ZoneInfo
    digest_hour: int
    quiet_from: time | None = None
    quiet_until: time | None = None

    def quiet_at(self, moment: datetime) -> bool:
        """Whether nobody is to be disturbed at this moment; the end itself is no longer quiet."""
        if self.quiet_from is None or self.quiet_until is None:
            return False
        shown = moment.astimezone(self.zone).time()
        if self.quiet_from < self.quiet_until:
            return self.quiet_from <= shown < self.quiet_until
        return shown >= self.quiet_from or shown < self.quiet_until

    def next_allowed(self, moment: datetime) -> datetime:
        """The moment itself, or the end of the quiet hours that it falls into."""
        if self.quiet_until is None or not self.quiet_at(moment):
            return moment
        # Where the clocks go back over the end, the second time that they show it counts as well.
        ends = self._shown(moment, self.quiet_until, folds=(0, 1))
        return next(end for end in ends if end > moment and not self.quiet_at(end))

    def next_digest(self, moment: datetime) -> datetime:
        """The first digest after this moment, put off to the end of the quiet hours it is in."""
        hours = self._shown(moment, time(self.digest_hour), folds=(0,))
        return self.next_allowed(next(hour for hour in hours if hour > moment))

    def _shown(self, moment: datetime, at: time, *, folds: tuple[int, ...]) -> Iterator[datetime]:
        """When the clock shows this, from the day of the moment on for a few days."""
        first: date = moment.astimezone(self.zone).date()
        for days in range(4):
            for fold in folds:
                wall = datetime.combine(first + timedelta(days=days), at, self.zone)
                yield wall.replace(fold=fold).astimezone(UTC)
