"""What there is to be seen on a maker's pages: some of everything, as often as is asked for."""

from datetime import UTC, datetime, timedelta
from uuid import UUID

from api.long_lists import send_list
from formulas.by_products import ByProductDraft
from formulas.complaints import add_fact, log_complaint
from formulas.containers import Piece, record_water_fill, set_container
from formulas.emptying import empty
from formulas.filling import Filled, fill
from formulas.models import ByProduct, FormulaVersion, Product
from formulas.planning import Planned
from formulas.standards import set_formula_standard, set_product_standard
from formulas.unit_weighings import Weighed, choose_rule, units_of_fill, weigh_units
from ledger.access import Actor, acting_as
from ledger.catalogue import add_supplier
from ledger.claiming import accept_claim, claim_share
from ledger.consigning import consign
from ledger.counting import Chosen, Read, lines_of, open_sheet, read_lots
from ledger.decanting import Drawn, decant
from ledger.deposits import pay_deposit
from ledger.documents import attach_document
from ledger.issuing import Taken, sell
from ledger.lots import decide
from ledger.models import DecantingDraw, Lot, Material, Transfer
from ledger.offering import BreakFacts, PriceFacts, TermsFacts, add_offer, set_supplier_terms
from ledger.ordering import Ordered, end_order, write_order
from ledger.places import add_place, put_lot
from ledger.quantities import parse_quantity
from ledger.recall_notices import answer_notice, notices_of
from ledger.recall_records import contact_buyer, open_recall
from ledger.receivers import add_receiver, send_test
from ledger.settling import movements_of
from ledger.sharing import open_share
from ledger.transferring import accept_transfer, offer_transfer
from tests.api.files import pdf
from tests.factories import MORNING, TODAY, D, Workshop, open_workshop
from tests.ordering_together import opened, pledged

NOON = MORNING + timedelta(hours=4)
# Too long for its sender to wait.
LONG_LIST = b"material,quantity,value,supplier_lot\n" + b"Wax,1 kg,9,A\n" * 301


def work(shop: Workshop, number: int) -> dict[str, str]:
    """A delivery, a batch that was made and one that lacks something; an id of each kind."""
    names = ("Sunflower oil", "Beeswax")
    oil, wax = (shop.material(f"{name} {number}", inci_name=name) for name in names)
    lot = shop.receive(oil, "10 kg", "50.00", freight="5.00")
    shop.receive(oil, "1 kg", "6.00", release=None, expires_on=TODAY)
    shop.receive(wax, "100 g", "6.00")
    lines = [(oil, "80"), (wax, "20")]
    version = shop.formula(f"Balm {number}", lines, density="0.9 g/mL")
    made = shop.plan(version, "400 g")
    shop.weigh_all(made)
    finished = shop.finish(made, "390 g")
    shop.plan(version, "5 kg")
    product = shop.product(version, "30 g")
    contained(shop, version, number)
    filled = _filled(shop, product, finished.lot)
    paper = {"kind": "coa", "content": pdf(), "name": "certificate.pdf"}
    attached = shop.does(attach_document, lot=lot.id, **paper)
    supplier = shop.does(add_supplier, name=f"Bulk oils {number}")
    pack, price = parse_quantity("1 kg"), PriceFacts(TODAY, D("5.00"))
    shop.does(add_offer, supplier=supplier.id, material=wax.id, pack=pack, price=price)
    line = Ordered(str(oil.id), pack, D("5.00"))
    order = shop.does(write_order, supplier=supplier.id, lines=[line], happened_at=MORNING)
    shop.does(end_order, order=order.id, reason="sold out", happened_at=MORNING)
    shop.does(set_formula_standard, formula=version.formula_id, valid_from=TODAY)
    shop.does(set_product_standard, product=product.id, valid_from=TODAY)
    webhook = f"https://shelf.example.org/{number}"
    program = shop.does(add_receiver, webhook=webhook).receiver
    shop.does(send_test, id=program.id, now=NOON)
    sent = shop.does(send_list, kind="lots", name="lots.csv", content=LONG_LIST, now=NOON)
    return {
        "alert-receivers": str(program.id),
        "sent-lists": str(sent.id),
        "materials": str(oil.id),
        "lots": str(finished.lot.id),
        "batches": str(made.batch.id),
        "documents": str(attached.id),
        "formulas": str(version.formula_id),
        "fills": str(filled.filling.id),
        "products": str(product.id),
        "orders": str(order.id),
        "order-rounds": joined(shop, oil),
        "counts": counting(shop, oil),
        "places": shelved(shop, number, wax),
        "complaints": complained(shop, finished.lot),
        **exchanged(shop, wax),
        **called_back(shop, number),
    }


def shelved(shop: Workshop, number: int, wax: Material) -> str:
    """A lot that was released and lies among what waits still."""
    lot = shop.receive(wax, "10 g", "1.00", release=None)
    shelf = shop.does(add_place, name=f"Waiting {number}", keeps="quarantine")
    shop.does(put_lot, lot=lot.id, place=shelf.id)
    shop.does(decide, lot=lot.id, decision="release", basis="certificate seen")
    return str(shelf.id)


def contained(shop: Workshop, version: FormulaVersion, number: int) -> None:
    """A product in a jar that holds more than its label says, by a fill with water."""
    jar = shop.material(f"Jar {number}", measured_by="count")
    shop.product(version, "60 mL", [(jar, "1 each")])
    about = {"nominal": parse_quantity("60 mL"), "headspace_percent": D(0)}
    shop.does(set_container, material=jar.id, **about)
    piece = Piece(parse_quantity("96 g"), parse_quantity("30 g"))
    filled = {"level": "usable", "at": "20 degC", "pieces": [piece], "happened_at": MORNING}
    shop.does(record_water_fill, material=jar.id, **filled)


def exchanged(shop: Workshop, wax: Material) -> dict[str, str]:
    """A lot that another maker shares, some of it given and owed for; a drum that was drawn off."""
    other = open_workshop(f"Mill Bench {wax.name}", coop=shop.coop)
    lot = other.receive(wax, "10 kg", "60.00")
    share = other.does(open_share, lot=lot.id, happened_at=MORNING)
    about = {"quantity": parse_quantity("1 kg"), "happened_at": NOON}
    claim, waiting = (shop.does(claim_share, share=share.id, **about) for _ in range(2))
    given = other.does(accept_claim, claim=claim.id, happened_at=NOON)
    owed = shop.does(lambda actor: movements_of(actor).get(transfer=given.transfer))
    drum = shop.receive(wax, "5 kg", "30.00")
    draws = [Drawn(parse_quantity("2 kg")), Drawn(parse_quantity("1 kg"), maker=other.actor.maker)]
    drawn = shop.does(decant, lot=drum.id, draws=draws, happened_at=NOON)
    shop.does(
        offer_transfer, lot=shop.receive(wax, "5 kg", "30.00").id, maker=other.actor.maker, **about
    )
    borrowed = other.does(offer_transfer, lot=lot.id, maker=shop.actor.maker, in_kind=True, **about)
    shop.does(accept_transfer, transfer=borrowed.id, happened_at=NOON)
    supplier = shop.does(add_supplier, name=f"Drums {wax.name}")
    shop.does(pay_deposit, supplier=supplier.id, amount=D(25), happened_at=NOON)
    return {
        "shares": str(share.id),
        "claims": str(waiting.id),
        "movements": str(owed.id),
        "decantings": str(drawn.decanting.id),
        "transfers": str(borrowed.id),
    }


def complained(shop: Workshop, lot: Lot) -> str:
    """A complaint of a rash that was serious, and what was answered."""
    days = {"received_on": TODAY, "today": TODAY}
    told = {"what_happened": "a rash", "adverse": True, "serious": True, "batch_code": lot.code}
    made = shop.does(log_complaint, **days, **told, customer="Quay shop")
    about = {"complaint": made.id, "on": TODAY, "today": TODAY}
    for kind in ("note", "reported_us", "medical_information"):
        shop.does(add_fact, **about, kind=kind, text="written to her")
    return str(made.id)


def called_back(shop: Workshop, number: int) -> dict[str, str]:
    """A recall of a lot that is sold, at a shop and at another maker, which has it from here."""
    other = open_workshop(f"Third Bench {number}", coop=shop.coop)
    kelp = shop.material(f"Kelp {number}")
    lot = shop.receive(kelp, "5 kg", "30.00")
    taken, about = [Taken(lot.id, parse_quantity("100 g"))], {"happened_at": NOON}
    for buyer in ("Stall", "Quay shop"):
        shop.does(sell, lines=taken, customer=f"{buyer} {number}", **about)
    shop.does(consign, shop=f"Quay shop {number}", lines=taken, **about)
    to = {"maker": other.actor.maker, "quantity": parse_quantity("1 kg")}
    offer = shop.does(offer_transfer, lot=lot.id, **to, **about)
    other.does(accept_transfer, transfer=offer.id, **about)
    recall = shop.does(open_recall, lot=lot.id, reason="mould in it", **about)
    told = {"how": "phone", "on": TODAY, "today": TODAY, "answered": True}
    shop.does(contact_buyer, recall=recall.id, customer=f"Stall {number}", **told)
    (notice,) = other.does(lambda actor: list(notices_of(actor, incoming=True)))
    other.does(answer_notice, notice=notice.id, hold=True)
    return {"recalls": str(recall.id), "recall-notices": str(notice.id)}


def counting(shop: Workshop, oil: Material) -> str:
    """A sheet on which a lot lies so far from the books that it is to be explained."""
    chosen = Chosen(materials=[oil.id])
    sheet = shop.does(open_sheet, chosen=chosen, now=NOON)
    for hour in (1, 2):
        at = NOON + timedelta(hours=hour)
        lots = [line.lot_id for line in shop.does(lambda actor: list(lines_of(sheet)))][:1]
        read = [Read(lot, quantity=parse_quantity("1 g")) for lot in lots]
        shop.does(read_lots, sheet=sheet.id, readings=read, happened_at=at, now=at)
    return str(sheet.id)


def joined(shop: Workshop, oil: Material) -> str:
    """A round in which the shop has pledged, and may still."""
    now = datetime.now(UTC)
    round = opened(shop, now=now, closes_at=now + timedelta(days=1))
    pledged(shop, round, oil, "2 kg", now=now)
    return str(round.id)


def _filled(shop: Workshop, product: Product, bulk: Lot) -> Filled:
    """Six pieces of 30 g out of bulk, of which three were weighed."""
    shop.does(choose_rule, product=product.id, rule="eu", allowed=None)
    filled = shop.does(fill, product=product.id, lot=bulk.id, units=6, happened_at=MORNING)
    shop.does(_weigh_units, fill=filled.filling.id)
    return filled


def _weigh_units(actor: Actor, fill: UUID) -> None:
    weighed = [Weighed(net=parse_quantity(f"{grams} g")) for grams in ("30.1", "30.4", "29.9")]
    of = units_of_fill(actor, fill)
    weigh_units(actor, of=of, weighed=weighed, happened_at=MORNING, now=MORNING)


def everything_under(shop: Workshop) -> Planned:
    """A batch into which lots went that came in every way there is, two of each."""
    poured = [one for name in ("once", "again") for one in lots_of_all_kinds(shop, name)]
    version = shop.formula("Of everything", [(what, "10") for what, _ in poured])
    planned = shop.plan(version, "100 g")
    for place, (_, lots) in enumerate(poured):
        for lot in lots:
            shop.weigh(planned, place, lot, "1 g", deviation="a test of every lot")
    return planned


def lots_of_all_kinds(
    shop: Workshop, name: str
) -> list[tuple[Material | FormulaVersion, list[Lot]]]:
    """Delivered; made and emptied; a by-product; moved and drawn off; made of what was made."""
    kinds = ("Base oil", "Wax", "Slum")
    oil, wax, slum = (shop.material(f"{what} {name}", inci_name=what) for what in kinds)
    lot = shop.receive(oil, "10 kg", "50.00", freight="5.00")
    base = shop.formula(f"Base {name}", [(oil, "100")])
    planned = shop.plan(base, "1 kg")
    shop.weigh_all(planned)
    beside = ByProductDraft(slum.id, parse_quantity("100 g"), D(1))
    made = shop.finish(planned, "900 g", by_products=[beside])
    filled = _filled(shop, shop.product(base, "30 g"), made.lot)
    about = {"reason": "no lid", "happened_at": NOON}
    emptied = shop.does(empty, lot=filled.lot.id, units=2, **about)
    came = exchanged(shop, wax)
    steeped = shop.formula(f"Steeped {name}", [(base, "100")])
    inner = shop.made_lot(steeped, "100")
    with acting_as(shop.actor):
        moved = Transfer.objects.select_related("lot").get(id=came["transfers"]).lot
        draws = DecantingDraw.objects.select_related("lot").filter(transfer__isnull=True)
        drawn = draws.get(decanting_id=came["decantings"]).lot
        aside = ByProduct.objects.select_related("lot").get(making=made.making).lot
    return [
        (oil, [lot]),
        (base, [made.lot, emptied.lot]),
        (slum, [aside]),
        (wax, [moved, drawn]),
        (steeped, [inner]),
    ]


def planned_ahead(shop: Workshop, number: int) -> None:
    """A batch in some days of an intermediate that is made of what is offered and runs short."""
    oil = shop.material(f"Oil ahead {number}")
    supplier = shop.does(add_supplier, name=f"Oils ahead {number}")
    price = PriceFacts(TODAY, D(40), breaks=[BreakFacts(parse_quantity("20 kg"), D(36))])
    about = {"material": oil.id, "pack": parse_quantity("5 kg"), "price": price}
    shop.does(add_offer, supplier=supplier.id, **about)
    terms = TermsFacts(TODAY, freight_kind="flat", freight=D(9))
    shop.does(set_supplier_terms, supplier=supplier.id, terms=terms)
    steeped = shop.formula(f"Steeped ahead {number}", [(oil, "100")])
    salve = shop.formula(f"Salve ahead {number}", [(steeped, "100")])
    soon = datetime.now(UTC).date() + timedelta(days=2)
    shop.plan(salve, "3 kg", planned_for=soon)
