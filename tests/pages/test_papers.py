"""What is printed from pages: every word can be said in another language, and figures, units and
days are written as whoever prints it reads them."""

import re
from dataclasses import replace
from typing import Any

import pytest
from django.test import Client

from formulas.composing import write_formula
from formulas.composition import ToEffect
from formulas.drafts import PhaseDraft
from formulas.judging import Measure, Window
from formulas.measurements import record_measurement
from ledger.catalogue import add_supplier
from ledger.consigning import consign
from ledger.counting import Chosen, open_sheet
from ledger.issuing import Taken, sell
from ledger.models import Lot, Material
from ledger.ordering import Ordered, end_order, write_order
from ledger.quantities import parse_quantity
from ledger.recall_notices import answer_notice, notices_of
from ledger.recall_records import contact_buyer, open_recall
from ledger.transferring import accept_transfer, offer_transfer
from tests.factories import MORNING, TODAY, D, Workshop, named, open_workshop
from tests.pages.browsing import done, shown, signed_in
from tests.test_words import NAMES, WORD

# What a label says is fixed by rules, and not said in the language of who prints its draft.
LABEL = {"Net", "Wt", "oz", "lb", "INCI", "GTIN", "Best", "before", "May", "USD", "pH", "mPa"}
ISO_DAY = re.compile(r"\b[0-9]{4}-[0-9]{2}-[0-9]{2}\b")


@pytest.fixture(scope="module")
def shop(database: Any, redis_server: Any) -> Workshop:
    """Names are in letters that no text of ours has."""
    return open_workshop("Север")


@pytest.fixture(scope="module")
def papers(shop: Workshop) -> dict[str, str]:
    """The address of every paper there is, by what it is."""
    oil = shop.material("Масло", inci_name="Oleum1", cautions=["fragrance"], max_percent=D(50))
    acid, jar = (
        shop.material("Кислота", inci_name="Acidum2"),
        shop.material("Банка", measured_by="count"),
    )
    lot = shop.receive(oil, "12345.678 g", "50.00", expires_on=TODAY.replace(year=2026))
    shop.receive(jar, "1500 each", "100.00")
    other = open_workshop("Юг", coop=shop.coop)
    return {
        "label": f"/lots/{lot.id}/label",
        "recall": recall(shop, other, oil),
        **batch(shop, oil, acid, jar, lot),
        **counts(shop, oil, jar),
        **ordered(shop, jar),
    }


def batch(shop: Workshop, oil: Material, acid: Material, jar: Material, lot: Lot) -> dict[str, str]:
    """A planned batch with all that its sheet may say, and the label of what it fills."""
    effect = ToEffect(typical_percent=D("0.5"), max_percent=D("1.25"))
    phase = PhaseDraft("Б", [named(oil, "60"), named(oil, "39.5"), named(acid, effect)])
    windows = [
        Window(Measure.PH, low=D(5), target=D("5.5"), high=D(6)),
        Window(Measure.TEMPERATURE, high=D(60)),
        Window(Measure.VISCOSITY, low=D("1500")),
    ]
    draft = replace(shop.draft("Крем", [], density="1 g/mL"), phases=[phase], windows=windows)
    version = shop.does(write_formula, draft)
    product = shop.product(version, "50 g", [(jar, "1 each")])
    planned = shop.plan(product, 1200)
    shop.weigh(planned, 0, lot, "1 kg")
    read = {"measure": Measure.PH, "value": "5.6", "happened_at": MORNING}
    shop.does(record_measurement, batch=planned.batch.id, **read)
    return {
        "batch": f"/batches/{planned.batch.id}/sheet",
        "product": f"/products/{product.id}/label",
    }


def recall(shop: Workshop, other: Workshop, oil: Material) -> str:
    """A recall of what is sold, at a shop and at another maker."""
    lot, about = shop.receive(oil, "5 kg", "30.00"), {"happened_at": MORNING}
    taken = [Taken(lot.id, parse_quantity("1234.5 g"))]
    shop.does(sell, lines=taken, customer="Рынок", **about)
    shop.does(consign, shop="Лавка", lines=taken, **about)
    to = {"maker": other.actor.maker, "quantity": parse_quantity("1 kg")}
    offer = shop.does(offer_transfer, lot=lot.id, **to, **about)
    other.does(accept_transfer, transfer=offer.id, **about)
    made = shop.does(
        open_recall, lot=lot.id, reason="плесень", depth="retail", classification="II", **about
    )
    told = {"how": "phone", "on": TODAY, "today": TODAY, "answered": True}
    gone = {"outcome": "used_up", "lot": lot.id, "quantity": parse_quantity("100 g")}
    shop.does(contact_buyer, recall=made.id, customer="Рынок", **told, **gone)
    (notice,) = other.does(lambda actor: list(notices_of(actor, incoming=True)))
    other.does(answer_notice, notice=notice.id, hold=True)
    return f"/recalls/{made.id}/sheet"


def counts(shop: Workshop, *materials: Material) -> dict[str, str]:
    """A count with the books' figures, and one without."""
    found = {}
    for material, blind in zip(materials, (False, True), strict=True):
        chosen = Chosen(materials=[material.id])
        sheet = shop.does(open_sheet, chosen=chosen, blind=blind, now=MORNING)
        found["blind" if blind else "count"] = f"/counts/{sheet.id}/sheet"
    return found


def ordered(shop: Workshop, jar: Material) -> dict[str, str]:
    """An order that stands, and one of which nothing more is expected."""
    supplier = shop.does(add_supplier, name="Склад")
    found = {}
    for name in ("order", "ended"):
        line = Ordered(str(jar.id), parse_quantity("1500 each"), D("1234.50"), expected_on=TODAY)
        order = shop.does(write_order, supplier=supplier.id, lines=[line], happened_at=MORNING)
        found[name] = f"/orders/{order.id}/sheet"
    shop.does(end_order, order=order.id, reason="раз", happened_at=MORNING)
    return found


@pytest.fixture
def strange(monkeypatch: pytest.MonkeyPatch) -> None:
    """A language in which every text stands in marks."""
    monkeypatch.setattr("django.utils.translation._trans.gettext", lambda text: f"«{text}»")
    monkeypatch.setattr(
        "django.utils.translation._trans.ngettext",
        lambda one, many, count: f"«{one if count == 1 else many}»",
    )


def unmarked(text: str) -> set[str]:
    """The words outside of all marks; codes and figures are none."""
    before = ""
    while text != before:
        before, text = text, re.sub("«[^«»]*»", " ", text)
    return set(WORD.findall(re.sub(r"\S*[0-9]\S*", " ", text))) - NAMES - LABEL


def read(client: Client, path: str) -> str:
    answer = client.get(path)
    assert answer.status_code == 200
    return shown(answer).partition("footer p { margin: .5mm 0 }")[2]


@pytest.mark.usefixtures("strange")
def test_every_word_of_a_paper_can_be_said_in_another_language(
    shop: Workshop, papers: dict[str, str]
) -> None:
    client = signed_in(shop)
    for name, path in papers.items():
        assert unmarked(read(client, path)) == set(), name


def test_a_word_that_stands_in_one_language_is_found() -> None:
    assert unmarked("«Lot «of» %(x)s» NB8 ordered 5 kg") == {"ordered"}


def test_papers_are_written_as_their_reader_writes(shop: Workshop, papers: dict[str, str]) -> None:
    client = signed_in(shop)
    done(client, "/look", units="us", numbers="de", theme="")
    text = {name: read(client, path).replace("\xa0", " ") for name, path in papers.items()}
    done(client, "/look", units="", numbers="", theme="")
    # At the scale it is grams for everybody.
    for said in ("36.000,00 35.640,00 bis", "1.200 of 50,00 g", "at most 1,25 %", "5,6", "5,5 (5"):
        assert said.replace("bis", "to") in text["batch"], said
    assert "up to 60 °C" in text["batch"]
    assert "from 1.500 mPa·s" in text["batch"]
    assert "11.345,678 g" in text["count"]
    assert "1.500" not in text["blind"]
    for said in ("2,722 lb", "3,527 oz wt of", "used up there", "on the phone", "shops"):
        assert said in text["recall"], said
    assert "everywhere" in text["count"]
    # Whoever gets an order writes in a way that nobody here knows.
    assert "1,500 pieces 1,234.50" in text["order"]
    assert "not wanted any more" in text["ended"]
    for name, one in text.items():
        assert not ISO_DAY.search(one), name
        assert not re.search(r"[a-z]_[a-z]| each\b| units\b", one), name
