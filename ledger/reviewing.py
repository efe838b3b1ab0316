"""Looking over all of a maker's alerts that the passing of time opens and closes.

The sweep owes a review of each maker once an hour; whoever adds a kind of alert adds a reviewer.
What an entry changes at once is the business of `alerts.check_watch` alone.
"""

from collections.abc import Callable
from datetime import date, datetime
from typing import Final
from uuid import UUID

from ledger import outbox
from ledger.alert_book import Book
from ledger.outbox import Work

REVIEW: Final = "review_alerts"
Reviewer = Callable[[Book, date], None]
_reviewers: list[Reviewer] = []


def reviews(reviewer: Reviewer) -> Reviewer:
    """Have every review call this with the maker's book and the day where the co-op is."""
    _reviewers.append(reviewer)
    return reviewer


@outbox.does(REVIEW)
def review_alerts(work: Work, now: datetime) -> None:
    """Look over one maker."""
    with outbox.inside(work):
        review(work.coop_id, work.maker_id, now=now)
        outbox.mark_done(work)


def review(coop_id: UUID, maker_id: UUID, *, now: datetime) -> None:
    """Open and close what time has changed, inside the maker's walls, in the open transaction."""
    book = Book(coop_id, maker_id, now)
    book.lock()
    day = now.astimezone(book.announcer.zone).date()
    for reviewer in _reviewers:
        reviewer(book, day)
