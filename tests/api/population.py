"""One of everything for a maker, made through the API: what others must never see."""

import re
import time
import uuid
from dataclasses import dataclass
from typing import Any

from tests.api.client import Client
from tests.api.files import pdf


@dataclass(frozen=True)
class Populated:
    """The ids of what a maker has, by the kind of thing that an id may name.

    `shared` are the kinds that all makers of the co-op see.
    """

    ids: dict[str, list[str]]
    texts: list[str]
    shared = frozenset({"material", "supplier", "maker", "container", "share", "round"})

    def private(self) -> list[str]:
        """The ids that nobody else may see."""
        return [id for kind, ids in self.ids.items() if kind not in self.shared for id in ids]


ALLY = "Ally Bench"


def populate(maker: Client, secret: str, ally: Client | None = None, known: str = "") -> Populated:
    """Everything once. Private texts contain `secret`; what all of the co-op may read, `known`."""
    known = known or secret
    oil = maker.material(f"Oil of {known}", density="0.91 g/mL", inci_name="Olea Europaea Oil")
    jar = maker.material(f"Jar of {known}", measured_by="count")
    supplier = maker.supplier()
    receipt = _receipt(maker, supplier, oil, jar, secret)
    oil_lot, jar_lot = (line["lot"]["id"] for line in receipt["lines"])
    formula, product = _recipes(maker, oil, jar, secret)
    bulk, making = _made(maker, {"formula": formula["id"], "batch": "2 kg"}, secret)
    units, _ = _made(maker, {"product": product["id"], "units": 20}, secret)
    planned = maker.post(
        "batches", {"product": product["id"], "units": 2, "planned_for": "2025-05-08"}
    ).made()
    fill = _filled(maker, product["id"], bulk["lot"]["id"], secret)
    _measured(maker, jar, product["id"], fill["id"])
    sale, issue = _out(maker, fill["lot"]["id"], oil_lot, secret)
    ph = {"measure": "ph", "value": "5.5", "note": f"note {secret}"}
    measurement = maker.post(f"batches/{planned['id']}/measurements", ph).made()
    _cost_formula(maker, secret)
    ids = {
        "material": [oil, jar],
        "own_material": [formula["material"], product["material"]],
        "supplier": [supplier],
        "receipt": [receipt["id"]],
        "lot": [oil_lot, jar_lot, bulk["lot"]["id"], fill["lot"]["id"]],
        "formula": [formula["id"]],
        "product": [product["id"]],
        "batch": [planned["id"], bulk["id"], units["id"]],
        "weighing": _weighings(maker, bulk["id"]),
        "line": [line["id"] for batch in (planned, making) for line in batch["lines"]],
        "entry": [receipt["entry"], bulk["entry"], fill["entry"], issue["entry"]],
        "sale": [sale["entry"]],
        "fill": [fill["id"]],
        "measurement": [measurement["id"]],
        "container": [jar],
        "document": [_certified(maker, oil_lot, secret)["id"]],
        "token": [row["id"] for row in maker.listed("tokens")],
        "count": [_counted(maker, oil_lot, secret)],
        "place": [_placed(maker, jar_lot, secret)],
    }
    ids["offer"] = [_offered(maker, supplier, oil, secret)]
    ids |= _ordered(maker, supplier, oil, jar, secret) | _pledged(maker, oil, secret)
    ids |= {"alert": [_alert(maker, oil)], "receiver": _receivers(maker, secret)}
    ids["list"] = [_sent_list(maker, secret)]
    ids["complaint"] = [_complained(maker, fill["lot"]["id"], product["id"], secret)]
    if ally is not None:
        ids |= _exchanged(maker, ally, oil_lot, jar_lot, secret, known)
        ids |= _recalled(maker, ally, ids, secret, known)
    return Populated(ids, [secret])


def _out(maker: Client, units: str, oil: str, secret: str) -> tuple[Any, Any]:
    """Some of the units sold, and some of the oil given away."""
    sold = {"customer": f"customer {secret}", "deviation": {"reason": f"reason {secret}"}}
    sale = _moved(maker, "sales", units, "3 each", **sold)
    return sale, _moved(maker, "issues", oil, "1 g", purpose="gift", reason=f"reason {secret}")


def _sent_list(maker: Client, secret: str) -> str:
    """A list of formulas of which no row can be read, too long for somebody to wait: of pages."""
    seen = maker.raw("GET", "/look", None, {"Cookie": f"stillroom={maker.token}"})
    (token,) = re.findall(r'name="csrfmiddlewaretoken" value="([^"]+)"', seen.raw.decode())[:1]
    cookies = f"stillroom={maker.token}; {str(seen.headers['Set-Cookie']).split(';')[0]}"
    rows = "\n".join(["formula,ingredient,percent", *[f"Rub {secret},none,some"] * 301])
    form = {"csrfmiddlewaretoken": token, "form_key": str(uuid.uuid4()), "do": "look"}
    told = {"name": f"list {secret}.csv", "said": "text/csv", "cookies": cookies, **form}
    answer = maker.upload("/import/formulas", rows.encode(), **told)
    assert answer.status == 303, answer.raw
    return str(answer.headers["Location"]).rpartition("/")[2]


def _certified(maker: Client, lot: str, secret: str) -> Any:
    """The certificate of a lot."""
    certified = {"kind": "coa", "name": f"CoA {secret}.pdf", "note": f"note {secret}"}
    return maker.upload(f"lots/{lot}/documents", pdf(secret), **certified).made()


def _pledged(maker: Client, oil: str, secret: str) -> dict[str, list[str]]:
    """A round that the others know of, and a pledge that they do not."""
    (own,) = [row["id"] for row in maker.listed("makers") if row["name"] == maker.maker_name]
    body = {"name": "Spring", "closes_at": "2199-01-01T12:00:00Z", "buyer": own}
    round = maker.post("order-rounds", body).made()
    pledge = {"material": oil, "quantity": "2 kg", "highest_price": "7.50"}
    pledged = maker.post(f"order-rounds/{round['id']}/pledges", pledge).made()
    return {"round": [round["id"]], "pledge": [pledged["id"]]}


def _cost_formula(maker: Client, secret: str) -> None:
    chosen = {"cost_class": f"class {secret}", "formula": "fifo", "reason": f"reason {secret}"}
    maker.post("cost-formulas", chosen).made()


def _weighings(maker: Client, batch: str) -> list[str]:
    return [one["id"] for one in maker.get(f"batches/{batch}").made()["weighings"]]


def _offered(maker: Client, supplier: str, oil: str, secret: str) -> str:
    """What a supplier offers the maker alone, and the terms of an order."""
    day = {"valid_from": "2025-05-01"}
    terms = {"freight_kind": "flat", "freight": "28", "note": f"note {secret}", **day}
    maker.post(f"suppliers/{supplier}/terms", terms).made()
    pack = {"supplier": supplier, "material": oil, "pack": "5 kg", "article_code": secret}
    breaks = [{"at_least": "25 kg", "price": "40.40"}]
    offer = maker.post("offers", {**pack, "price": "44.40", "breaks": breaks, **day}).made()
    return str(offer["id"])


def _complained(maker: Client, lot: str, product: str, secret: str) -> str:
    """A complaint about one of the units."""
    body = {"received_on": "2025-05-09", "what_happened": f"a rash, {secret}"}
    made = maker.post("complaints", {**body, "lot": lot, "product": product}).made()
    return str(made["id"])


def _filled(maker: Client, product: str, bulk: str, secret: str) -> Any:
    """Ten units of a product out of its bulk."""
    body = {
        "product": product,
        "lot": bulk,
        "units": 10,
        "happened_at": "2025-05-07T09:00:00Z",
        "release": {"basis": f"basis {secret}"},
    }
    return maker.post("fills", body).made()


def _exchanged(
    maker: Client, ally: Client, lot: str, jars: str, secret: str, known: str
) -> dict[str, list[str]]:
    """An offer to the ally, a maker of whom the others may know; jars that are open to all."""
    (to,) = [row["id"] for row in maker.listed("makers") if row["name"] == ALLY]
    body = {"maker": to, "lot": lot, "quantity": "1 g", "note": f"note {secret}"}
    offer = maker.post("transfers", body).made()
    consigned = {"shop": f"shop {secret}", "lines": [{"lot": lot, "quantity": "1 g"}]}
    maker.post("consignments", consigned).made()
    opened = {"lot": jars, "quantity": "2 each", "note": f"note {known}"}
    share = maker.post("shares", opened).made()["id"]
    claim = ally.post(f"shares/{share}/claims", {"quantity": "1 each"}).made()["id"]
    paid = {"maker": to, "direction": "paid", "amount": "3.30", "note": f"note {secret}"}
    payment = maker.post("payments", {**paid, "happened_at": "2025-05-07T09:00:00Z"}).made()
    drum = maker.receive(maker.material(f"Drum of {known}"), "9 kg", "9.90")
    drawn = {"draws": [{"net": "4 kg"}, {"net": "2 kg", "maker": to}], "note": f"note {secret}"}
    decanting = maker.post(f"lots/{drum}/decantings", drawn).made()
    deposit = {"supplier": maker.supplier(), "amount": "5.50", "note": f"note {secret}"}
    theirs = ally.post("shares", {"lot": _spare(ally)}).made()["id"]
    return {
        "maker": [to],
        "transfer": [offer["id"]],
        "share": [theirs, share],
        "claim": [claim],
        "movement": [payment["id"]],
        "decanting": [decanting["id"]],
        "deposit": [maker.post("deposits", deposit).made()["id"]],
    }


def _spare(ally: Client) -> str:
    """A lot of the ally's own."""
    return ally.receive(ally.material(f"Wax {uuid.uuid4()}"), "1 kg", "5.00")


def _recalled(
    maker: Client, ally: Client, ids: dict[str, list[str]], secret: str, known: str
) -> dict[str, list[str]]:
    """A recall of a lot that the ally has some of, and the notice of it."""
    spare = maker.material(f"Spare oil of {known}")
    lot = maker.receive(spare, "1 kg", "5.00", supplier_lot=f"lot {secret}")
    on = {"happened_at": "2025-05-07T09:00:00Z"}
    body = {"maker": ids["maker"][0], "lot": lot, "quantity": "1 g", **on}
    offer = maker.post("transfers", body).made()
    ally.post(f"transfers/{offer['id']}/acceptance", on).made()
    body = {"lot": lot, "reason": f"reason {secret}", **on}
    recall = maker.post("recalls", body).made()
    return {
        "lot": [*ids["lot"], lot],
        "recall": [recall["id"]],
        "notice": [one["notice"] for one in recall["progress"]["makers"]],
    }


def _recipes(maker: Client, oil: str, jar: str, secret: str) -> tuple[Any, Any]:
    """A formula and a product of it, each with its standard cost."""
    lines = [{"material": oil, "percent": "100"}]
    formula = {
        "name": f"Balm {secret}",
        "density": {"value": "0.9 g/mL"},
        "phases": [{"name": f"phase {secret}", "lines": lines}],
    }
    made = maker.post("formulas", formula).made()
    product = {
        "name": f"Balm {secret} 50",
        "formula": made["id"],
        "fill": {"nominal": "50 g"},
        "packaging": [{"material": jar, "quantity": "1 each"}],
        "labour": {"minutes_per_unit": "2", "hourly_rate": "18.18"},
        "overhead": {"per_batch": "5.05", "percent_of_materials": "1.01"},
    }
    sold = maker.post("products", product).made()
    for kind, one in (("formulas", made), ("products", sold)):
        standard = {"valid_from": "2025-01-01", "note": f"note {secret}"}
        maker.post(f"{kind}/{one['id']}/standard-costs", standard).made()
    return made, sold


def _ordered(maker: Client, supplier: str, oil: str, jar: str, secret: str) -> dict[str, list[str]]:
    """An order of which one line was corrected."""
    lines = [
        {"material": oil, "pack": "5 kg", "packs": 3, "price": "116.70"},
        {"material": jar, "pack": "100 each", "price": "33.30", "expected_on": "2025-05-05"},
    ]
    body = {
        "supplier": supplier,
        "happened_at": "2025-05-02T09:00:00Z",
        "note": f"note {secret}",
        "lines": lines,
    }
    order = maker.post("orders", body).made()
    change = {"order_line": order["lines"][0]["id"], "price": "116.55", "reason": f"why {secret}"}
    maker.post(f"orders/{order['id']}/corrections", change).made()
    maker.post(f"orders/{order['id']}/sendings", {"note": f"note {secret}"}).made()
    return {"order": [order["id"]], "order_line": [line["id"] for line in order["lines"]]}


def _receipt(maker: Client, supplier: str, oil: str, jar: str, secret: str) -> dict[str, Any]:
    lines = [
        {"material": oil, "quantity": "10 kg", "price": "77.70"},
        {"material": jar, "quantity": "100 each", "price": "33.30"},
    ]
    body = {
        "supplier": supplier,
        "happened_at": "2025-05-05T09:00:00Z",
        "reference": f"note {secret}",
        "lines": [{**line, "supplier_lot": f"lot {secret}"} for line in lines],
        "release": {"basis": f"basis {secret}"},
    }
    return dict(maker.post("receipts", body).made())


def _made(maker: Client, size: dict[str, Any], secret: str) -> tuple[Any, Any]:
    """A finished batch, as it was finished and as it was planned."""
    batch = maker.post("batches", {**size, "planned_for": "2025-05-06"}).made()
    (line,) = batch["lines"]
    (pick,) = line["picks"]
    weighing = {
        "line": line["id"],
        "lot": pick["lot"],
        "quantity": f"{pick['grams']} g",
        "happened_at": "2025-05-06T09:00:00Z",
    }
    maker.post(f"batches/{batch['id']}/weighings", weighing).made()
    made = {"units": size["units"], "output": f"{size['units'] * 50} g"} if "units" in size else {}
    body = {
        "output": "1990 g",
        "happened_at": "2025-05-06T12:00:00Z",
        "release": {"basis": f"basis {secret}"},
        **made,
    }
    return maker.post(f"batches/{batch['id']}/finish", body).made(), batch


def _counted(maker: Client, lot: str, secret: str) -> str:
    """An open count sheet with one reading."""
    sheet = maker.post("counts", {"lots": [lot], "place": f"shelf {secret}"}).made()
    body = {
        "happened_at": "2025-05-07T13:00:00Z",
        "readings": [{"lot": lot, "quantity": "7 kg"}],
    }
    maker.post(f"counts/{sheet['id']}/readings", body).made()
    return str(sheet["id"])


def _placed(maker: Client, lot: str, secret: str) -> str:
    """A shelf with a lot on it."""
    place = maker.post("places", {"name": f"shelf {secret}"}).made()
    maker.post(f"lots/{lot}/placings", {"place": place["id"]}).made()
    return str(place["id"])


def _measured(maker: Client, jar: str, product: str, fill: str) -> None:
    """What the jar holds, the rule of the product, and units of the fill weighed."""
    maker.change("PUT", f"containers/{jar}", {"nominal": "60 mL"}).made()
    maker.change("PUT", f"products/{product}/net-contents", {"rule": "eu"}).made()
    weighed = {"weighings": [{"net": "50.2 g"}, {"net": "50.4 g"}]}
    maker.post(f"fills/{fill}/unit-weighings", weighed).made()


def _alert(maker: Client, material: str) -> str:
    """The alert over a material that is far below its reorder point, once the worker opens it."""
    maker.change("PUT", f"watches/{material}", {"reorder_point": "500 kg"}).made()
    end = time.monotonic() + 90
    while time.monotonic() < end:
        for alert in maker.get("alerts", state="open").made()["results"]:
            if alert["material"] == material:
                return str(alert["id"])
        time.sleep(0.1)
    raise AssertionError("no alert was opened")


def _receivers(maker: Client, secret: str) -> list[str]:
    """A mail address and a program that hear of the next alerts; the name leads nowhere."""
    maker.change("PUT", "alert-settings", {"use_told": "nobody", "digest_hour": 7}).made()
    name = "".join(letter for letter in secret if letter.isalnum())
    bodies = [{"webhook": f"https://{name}.invalid/"}, {"mail": f"{name}@example.org"}]
    made = [maker.post("alert-receivers", body).made()["id"] for body in bodies]
    for id in made:
        maker.post(f"alert-receivers/{id}/tests", {}).made()
    return made


def _moved(maker: Client, path: str, lot: str, quantity: str, **facts: Any) -> dict[str, Any]:
    body = {
        "lines": [{"lot": lot, "quantity": quantity}],
        "happened_at": "2025-05-07T12:00:00Z",
        **facts,
    }
    return dict(maker.post(path, body).made())
