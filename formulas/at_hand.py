"""Rows that were just written, kept with the row they belong to as if they had been fetched."""

from collections.abc import Sequence

from django.db import models


def keep_at_hand(row: models.Model, **related: Sequence[models.Model]) -> None:
    """Let `row.NAME.all()` give these rows, with no query, as after `prefetch_related`.

    What Django itself does with what it has prefetched, for rows that need not be looked for.
    """
    kept = row.__dict__.setdefault("_prefetched_objects_cache", {})
    for name, rows in related.items():
        found = getattr(row, name).all()
        found._result_cache, found._prefetch_done = list(rows), True
        kept[name] = found
