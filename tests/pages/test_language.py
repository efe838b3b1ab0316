"""A page in another language: its own words, what is refused, and cautions; the API stays."""

import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client, override_settings
from django.utils import translation

from api.list_kinds import KINDS
from api.pages.reader import Reader
from api.pages.saying import in_words
from formulas import bulk_age, standards  # noqa: F401 - they say what their rules refuse
from ledger.entries import EXPLAINED
from ledger.errors import Sentence
from tests.api.sheet_files import csv_text
from tests.catalogues import write_catalogue
from tests.factories import D, Workshop, open_workshop
from tests.ledger.bench import work_off
from tests.pages.browsing import refused, sent, shown, signed_in

LEFT = "Only {left} of the lot {code} is left; take less, or the rest from another lot."
UNKNOWN = 'The unit "{typed}" is not known; did you mean "{meant}"?'
TOO_LONG = "A list has at most {rows} rows: send it in parts, without empty rows."
TEXTS = {
    "Fill this in.": "Bitte ausfüllen.",
    "How pages look to you": "Wie Seiten für Sie aussehen",
    "Keep this": "So behalten",
    LEFT: "Vom Los {code} sind nur noch {left} da; nehmen Sie weniger.",
    "Nothing here": "Hier ist nichts",
    "There is no such thing here, or it is not yours.": "Das gibt es hier nicht.",
    'A number needs its unit: write "60 g", "60 mL" or "60 pieces".': "Die Einheit fehlt.",
    "Above it a scent may sensitise skin.": "Darüber reizt ein Duft die Haut.",
    "{name}: {percent:f} %, at most {most:f} %": "{name}: {percent:f} %, höchstens {most:f} %",
    UNKNOWN: "Die Einheit {typed} ist unbekannt, wohl {meant}.",
    TOO_LONG: "Höchstens {rows} Zeilen hat eine Liste.",
    "sold": "verkauft",
    "{unit!r} is wrong": "{einheit} ist falsch",
}
GERMAN = "de-DE,de;q=0.9"


@pytest.fixture(scope="module")
def shop(database: Any, redis_server: Any) -> Workshop:
    return open_workshop()


@pytest.fixture(autouse=True)
def german(tmp_path: Path) -> Iterator[None]:
    """A server that has a catalogue of German, with a few of the texts."""
    write_catalogue(tmp_path, "de", TEXTS)
    languages = [("en", "English"), ("de", "Deutsch")]
    with override_settings(LANGUAGES=languages, LOCALE_PATHS=[str(tmp_path)]):
        yield


def reader_of(shop: Workshop, asks: str = GERMAN) -> Client:
    """A browser that asks for pages in these languages."""
    client = signed_in(shop)
    client.defaults["HTTP_ACCEPT_LANGUAGE"] = asks
    return client


def test_a_page_and_what_it_refuses_are_in_the_reader_s_language(shop: Workshop) -> None:
    lot = shop.receive(shop.material("Oil"), "2500.5 g", "25.00")
    client, other = reader_of(shop), signed_in(shop)
    page = client.get("/look")
    assert '<html lang="de"' in page.content.decode()
    assert "Wie Seiten für Sie aussehen" in shown(page)
    sale = {"way": "sold", "quantity": "3 kg", "reason": "Shop"}
    wrong = refused(client, f"/lots/{lot.id}/out", **sale)
    assert f"Vom Los {lot.code} sind nur noch 2.500,5 g da" in wrong
    assert "Einheit" in refused(client, f"/lots/{lot.id}/out", **{**sale, "quantity": "3"})
    # What a field asks by itself is in the same language.
    assert "Bitte ausfüllen." in refused(client, f"/lots/{lot.id}/out", way="sold")
    nothing = client.get(f"/lots/{shop.coop.id}")
    assert "Hier ist nichts Das gibt es hier nicht." in shown(nothing)
    # Who reads English is told the same in English, with figures as in English.
    assert "2,500.5 g of the lot" in refused(other, f"/lots/{lot.id}/out", **sale)
    assert '<html lang="en"' in other.get("/look").content.decode()


def test_what_a_worker_found_is_in_the_language_of_who_reads_it(
    shop: Workshop, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The worker has no reader: what it found is kept, and told in a language when it is read."""
    monkeypatch.setitem(KINDS, "lots", replace(KINDS["lots"], most_at_once=1, most=3))
    columns = ("material", "quantity", "value", "supplier_lot")
    client, other = reader_of(shop), signed_in(shop)

    def long_one(*rows: tuple[str, ...]) -> str:
        file = SimpleUploadedFile("lots.csv", csv_text(columns, *rows))
        page = str(sent(client, "/import/lots", do="look", file=file)["Location"])
        work_off()
        return page

    wrong = long_one(("Wool fat", "3", "1.00", "W-1"), ("Wool fat", "3 gramz", "1.00", "W-2"))
    told, in_english = shown(client.get(wrong)), shown(other.get(wrong))
    assert "Die Einheit fehlt." in told
    assert "Die Einheit gramz ist unbekannt, wohl g." in told
    assert 'The unit "gramz" is not known' in in_english
    assert "Einheit" not in in_english
    stopped = long_one(*[("Wool fat", "3 kg", "1.00", f"W-{n}") for n in range(4)])
    assert "Höchstens 3 Zeilen hat eine Liste." in shown(client.get(stopped))
    assert "A list has at most 3 rows" in shown(other.get(stopped))


def test_a_caution_is_in_the_reader_s_language(shop: Workshop) -> None:
    scent = shop.material("sold", cautions=["fragrance"], max_percent=D("1.25"))
    base = shop.material("Base")
    version = shop.formula("Scented", [(base, "97.5"), (scent, "2.5")])
    page = shown(reader_of(shop).get(f"/formulas/{version.formula_id}"))
    assert "Darüber reizt ein Duft die Haut." in page
    # The name that somebody gave stays, though there is a word like it.
    assert "(sold: 2,5 %, höchstens 1,25 %)" in page
    assert "sold: 2.5 %, at most 1.25 %" in shown(
        signed_in(shop).get(f"/formulas/{version.formula_id}")
    )


def test_the_api_answers_as_ever(shop: Workshop) -> None:
    token = signed_in(shop).cookies["stillroom"].value
    asked = {"Authorization": f"Bearer {token}", "Accept-Language": GERMAN}
    answer = Client(SERVER_NAME="localhost").get(f"/api/v1/lots/{shop.coop.id}", headers=asked)
    assert answer.json()["detail"] == "There is no such thing here, or it is not yours."


def test_a_catalogue_that_names_no_such_place_takes_no_refusal_away(shop: Workshop) -> None:
    with translation.override("de"):
        assert in_words(Sentence("{unit!r} is wrong", unit="ell"), Reader("de")) == "'ell' is wrong"
        assert in_words("", Reader("de")) == ""


def test_a_language_without_a_catalogue_is_not_offered(shop: Workshop) -> None:
    page = reader_of(shop, "fr").get("/look").content.decode()
    assert '<html lang="en"' in page
    assert not re.search(r"Gardez|obligatoire", page)


LOT = {"lot": "1", "code": "NB1", "unit": "g"}
THE_SIXTH = "2025-05-06"


@pytest.mark.parametrize(
    ("rule", "facts"),
    [
        ("lot_usable", {"status": "released", "out_of_date": True, "last_day": THE_SIXTH, **LOT}),
        ("holding_not_negative_on_any_day", {"on": THE_SIXTH, "short": "8", **LOT}),
        ("entry_period_open", {"closed_on": THE_SIXTH}),
        ("filled_in_time", {"last_day": THE_SIXTH}),
        ("standard_cost_kept", {"batch": "NB25-001", "day": THE_SIXTH}),
        ("transfer_after_its_offer", {"offered": f"{THE_SIXTH}T08:00:00+00:00"}),
    ],
)
def test_days_that_the_database_tells_are_written_as_others(
    rule: str, facts: dict[str, Any]
) -> None:
    told = in_words(EXPLAINED[rule](facts).detail, Reader())
    assert "6 May 2025" in told
    assert THE_SIXTH not in told
