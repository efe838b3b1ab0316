"""What stands in the way of taking back: each entry by its day and kind, and a link to it.

The ledger names entries by their ids, which say nothing to a person.
"""

from typing import Final
from uuid import UUID

from django.utils.html import conditional_escape, format_html
from django.utils.safestring import mark_safe
from django.utils.translation import gettext, ngettext

from api.pages.reader import Reader
from api.pages.saying import in_words
from api.pages.words import kind
from ledger.access import Actor
from ledger.entry_reading import EntriesWanted, entries_of
from ledger.errors import Refusal, Sentence, Stale

# So many are named; where there are more, those are seen once these are taken back.
MOST: Final = 12


def with_a_way_on(refusal: Refusal, actor: Actor, reader: Reader, here: str) -> Refusal:
    """The same refusal with links in its sentence to what there is to look at, if anything."""
    if not isinstance(refusal, Stale):
        return with_entries_named(refusal, actor, reader)
    # In a tab of its own, so that what was typed can be typed again from there.
    refusal.detail = format_html(
        '{} <a href="{}" target="_blank">{}</a>',
        in_words(refusal.detail, reader),
        here,
        gettext("Read it again in a new tab"),
    )
    return refusal


def with_entries_named(refusal: Refusal, actor: Actor, reader: Reader) -> Refusal:
    """The same refusal; the entries that its sentence speaks of are links in it.

    The last come first, since in that order they can be taken back.
    """
    told = refusal.detail
    ids: list[UUID] = sorted(map(UUID, map(str, refusal.facts.get("entries", ()))), reverse=True)
    if not isinstance(told, Sentence) or not ids or "entries" not in told.places:
        return refusal
    known = entries_of(actor, EntriesWanted()).in_bulk(ids[:MOST])
    links: list[str] = [
        format_html(
            '<a href="/entries/{}">{} · {}</a>', id, reader.day(one.happened_at), kind(one.kind)
        )
        for id, one in ((id, known[id]) for id in ids if id in known)
    ]
    if more := len(ids) - len(links):
        links.append(ngettext("%(n)d more", "%(n)d more", more) % {"n": more})
    sentence: str = conditional_escape(in_words(told, reader))
    sentence = sentence.replace(str(told.places["entries"]), ", ".join(links))
    refusal.detail = mark_safe(sentence)  # noqa: S308 - all of it was escaped
    return refusal
