"""Sentences that are kept as JSON come back as they were, to be told in any language."""

import json
from datetime import UTC, date, datetime
from typing import Any

import pytest

from api.kept_sentences import as_kept, printable, to_keep
from ledger.amounts import Amount
from ledger.errors import Sentence
from ledger.roles import Verb
from tests.factories import D


def kept(text: str) -> str:
    return as_kept(json.loads(json.dumps(to_keep(text))))


@pytest.mark.parametrize(
    ("places", "told"),
    [
        ({"one": D("2500.50")}, "2500.50 left"),
        ({"one": Amount(D("2500.5"), False)}, "2.5 kg left"),
        ({"one": Amount(D(3), True)}, "3 pieces left"),
        ({"one": date(2026, 2, 1)}, "2026-02-01 left"),
        ({"one": 1200}, "1200 left"),
        ({"one": "Öl {x}"}, "Öl {x} left"),
        ({"one": Sentence("{n} of these", n=D(4))}, "4 of these left"),
    ],
)
def test_what_stands_in_its_places_stays_what_it_is(places: dict[str, Any], told: str) -> None:
    sentence = Sentence("{one} left", **places)
    found = kept(sentence)
    assert isinstance(found, Sentence)
    assert (found, found.template, found.places) == (told, "{one} left", places)


def test_a_format_fits_what_comes_back() -> None:
    sentence = Sentence("{unit!r}: {left:f}, {most:,}", unit="kgs", left=D("1E+3"), most=5000)
    assert kept(sentence) == sentence == "'kgs': 1000, 5,000"


def test_a_text_that_is_no_sentence_stays_as_it_is() -> None:
    found = kept("40 {not a place}")
    assert (found, type(found)) == ("40 {not a place}", str)
    assert kept("a\0b\ud800c") == printable("a\0b\ud800c") == "abc"
    assert kept(Sentence("{value} is none", value="1\0 kg")) == "1 kg is none"


def test_what_no_page_writes_otherwise_is_kept_as_a_text() -> None:
    moment = datetime(2026, 2, 1, 23, 30, tzinfo=UTC)
    assert kept(Sentence("{day} and {verb}", day=moment, verb=Verb.READ)) == (
        "2026-02-01 and read stock and batches"
    )
