"""Figures are read on a page as the page prints them, and never a thousand times too large."""

from typing import Any

import pytest
from django.core.exceptions import ValidationError

from api.pages.forms import (
    DensityField,
    GramsField,
    MoneyField,
    NumberField,
    QuantityField,
    WholeField,
)
from api.pages.material_facts import PartsField
from api.pages.reader import WRITTEN, Reader
from api.separators import NumberAmbiguous
from ledger.access import acting_as
from ledger.models import Lot
from tests.factories import D, Workshop, open_workshop
from tests.pages.browsing import done, refused, signed_in

ENGLISH, GERMAN, FRENCH = Reader("en", currency="EUR"), Reader("de"), Reader("fr")
READ = [
    (ENGLISH, "1,464.5 g", "1464.5 g"),
    (ENGLISH, "1,234,567", "1234567"),
    (ENGLISH, "1.464", "1.464"),
    (GERMAN, "2.730,5 g", "2730.5 g"),
    (GERMAN, "1.234.567", "1234567"),
    (GERMAN, "2,730", "2.730"),
    (GERMAN, "0.730", "0.730"),
    (GERMAN, "2.73", "2.73"),
    (GERMAN, "2730.125", "2730.125"),
    (GERMAN, "2 lb 3,5 oz", "2 lb 3.5 oz"),
    (FRENCH, "2 730 g", "2730 g"),
    (FRENCH, "1\u202f234\u00a0567,5", "1234567.5"),
    (FRENCH, "1 500/1000 cup", "1 500/1000 cup"),
    # What is written in no known way is left to the ledger, which refuses it.
    (ENGLISH, "1,5 kg", "1,5 kg"),
    (ENGLISH, "2 730 g", "2 730 g"),
    (GERMAN, "1,234.5", "1,234.5"),
    (GERMAN, "1.23.456", "1.23.456"),
]
AMBIGUOUS = [
    (ENGLISH, "1,464", "write 1464 or 1.464."),
    (GERMAN, "2.730 g", "write 2730 or 2,73."),
    (GERMAN, "100.000", "write 100000 or 100."),
    (FRENCH, "1.500 kg", "write 1500 or 1,5."),
]


@pytest.mark.parametrize(("reader", "typed", "read"), READ)
def test_a_number_is_read_as_the_page_prints_it(reader: Reader, typed: str, read: str) -> None:
    assert reader.plain(typed) == read


@pytest.mark.parametrize(("reader", "typed", "words"), AMBIGUOUS)
def test_a_number_with_two_readings_is_refused_with_both(
    reader: Reader, typed: str, words: str
) -> None:
    with pytest.raises(NumberAmbiguous, match=words.replace(".", r"\.")):
        reader.plain(typed)


def test_who_writes_a_comma_is_never_asked_for_a_point() -> None:
    field = QuantityField()
    field.reader = FRENCH
    assert field.clean("2,5 kg").amount == D(2500)
    for typed in ("1.234,5 g", "1,234,5 g"):
        with pytest.raises(ValidationError, match=r"write .* as 12,5"):
            field.clean(typed)


@pytest.mark.parametrize(
    ("reader", "typed", "told"),
    [
        (ENGLISH, "1000 each", "1,000 pieces"),
        (ENGLISH, "1 each", "1 piece"),
        (GERMAN, "12500.75 g", "12.500,75 g"),
        (GERMAN, "2.5 kg", "2,5 kg"),
        (ENGLISH, "0.12345 g", "0.12345 g"),
        (GERMAN, "12000 g gross, 1500.5 g tare", "12.000 g gross, 1.500,5 g tare"),
        (ENGLISH, "1500/1000 cup", "1500/1000 cup"),
        # A colour by its number, a day.
        (ENGLISH, "as RAL 1013", "as RAL 1013"),
        (ENGLISH, "2025-05-06", "2025-05-06"),
    ],
)
def test_what_was_typed_is_told_with_its_thousands_parted(
    reader: Reader, typed: str, told: str
) -> None:
    assert reader.written(typed) == told


@pytest.mark.parametrize("look", WRITTEN)
def test_what_a_page_prints_is_read_as_it_was_or_refused(look: str) -> None:
    reader = Reader(look)
    for text in ("0.5", "2730", "2730.5", "999.125", "1234567", "1234567.125", "12"):
        try:
            assert D(reader.plain(reader.number(D(text)))) == D(text)
        except NumberAmbiguous:
            assert text == "2730"
        assert reader.plain(reader.typed(D(text))).split()[0] in {text, f"{D(text) / 1000:f}"}
        assert D(reader.plain(reader.entered(text))) == D(text)


@pytest.mark.parametrize(
    "field", [QuantityField, GramsField, MoneyField, NumberField, DensityField, WholeField]
)
def test_every_field_of_figures_asks_what_is_meant(field: Any) -> None:
    made = field()
    made.reader = Reader("de", currency="EUR")
    with pytest.raises(ValidationError, match="two ways"):
        made.clean("2.730")


def test_a_whole_number_has_no_decimals_and_a_name_keeps_its_comma() -> None:
    whole, parts = WholeField(), PartsField()
    whole.reader = parts.reader = GERMAN
    assert whole.clean("1.234.567") == 1_234_567
    with pytest.raises(ValidationError, match="whole number"):
        whole.clean("2.0")
    [part] = parts.clean("1,2-Hexanediol 0,8")
    assert (part.inci_name, part.percent) == ("1,2-Hexanediol", D("0.8"))


def test_the_bench_asks_and_then_weighs_in_what_was_meant(database: Any, redis_server: Any) -> None:
    shop: Workshop = open_workshop()
    oil = shop.material("Oil")
    lot = shop.receive(oil, "10 kg", "50.00")
    planned = shop.plan(shop.formula("Balm", [(oil, "100")]), "2730 g")
    client = signed_in(shop)
    client.defaults["HTTP_ACCEPT_LANGUAGE"] = "de"
    path = f"/batches/{planned.batch.id}/bench"
    with acting_as(shop.actor):
        code = Lot.objects.get(id=lot.id).code
    typed = {
        "do": "weigh",
        "line": str(planned.lines[0].line.id),
        "lot": code,
        "deviation": "looked at",
    }
    assert "write 2730 or 2,73" in refused(client, path, quantity="2.730", **typed)
    assert "1 of 1" in done(client, path, quantity="2730", **typed)
