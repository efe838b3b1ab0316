"""Whatever a maker may have rows of, made by the verbs."""

from dataclasses import replace
from datetime import date

from api.long_lists import send_list
from api.preferences import set_preferences
from formulas.alternates import AlternateDraft
from formulas.by_products import ByProductDraft
from formulas.checks import check_batch
from formulas.complaints import add_fact, log_complaint
from formulas.composing import write_formula
from formulas.composition import Balance, Fixed, ToEffect
from formulas.containers import Piece, record_water_fill, set_container
from formulas.drafts import LineDraft, PhaseDraft
from formulas.emptying import empty
from formulas.enough import say_enough
from formulas.intermediates import plan_intermediates
from formulas.joint_products import JointDraft, JointProductDraft
from formulas.judging import Measure, Window
from formulas.measurements import record_measurement
from formulas.repicking import reserve_again
from formulas.reworking import rework
from formulas.standards import set_formula_standard
from formulas.topping_up import top_up
from formulas.unit_weighings import Weighed, choose_rule, units_of_batch, weigh_units
from ledger.alert_settings import Choices, choose
from ledger.billing import Wanted, book_bill
from ledger.catalogue import MaximumFacts, PartFacts, add_supplier, change_material
from ledger.closing import close_books
from ledger.co_op_store import name_store
from ledger.costing import ChargeKind
from ledger.count_closing import Explained, close_sheet
from ledger.counting import Chosen, Read, open_sheet, read_lots
from ledger.decanting import Drawn, decant
from ledger.deposits import pay_deposit, return_deposit
from ledger.documents import attach_document
from ledger.limits import Limit
from ledger.models import Bill, CountCause, Maker, Material, ReceiptLine
from ledger.offering import BreakFacts, PriceFacts, TermsFacts, add_offer, set_supplier_terms
from ledger.opened_lots import say_opened
from ledger.ordering import Ordered, end_order, write_order
from ledger.places import add_place, put_lot
from ledger.quantities import parse_quantity
from ledger.receivers import add_receiver, send_test
from ledger.receiving import Delivered, receive
from ledger.retesting import Found, record_results, retest, specify
from ledger.round_buyers import answer_as_buyer, ask_another
from ledger.round_closing import close_and_reckon
from ledger.round_handing import hand_out
from ledger.round_late_bills import share_late_bills
from ledger.round_ordering import place_orders
from ledger.source_tests import record_source_test
from ledger.stopping import decide_through
from tests.api.files import pdf
from tests.factories import MORNING, TODAY, D, Workshop
from tests.ordering_together import (
    EVENING,
    asked,
    coordinator,
    does,
    offered,
    opened,
    owed,
    pledged,
)


def fill(shop: Workshop) -> None:
    """A delivery, a formula, a product and its batch, and what is found out about their lots."""
    oil, jar = shop.material("Oil", density="0.91 g/mL"), shop.material("Jar", measured_by="count")
    jelly = shop.material("Jelly")
    lot = shop.receive(oil, "10 kg", "77.70", freight="3.00")
    shop.receive(jar, "100 each", "33.30")
    version = shop.formula("Balm", [(oil, "100")])
    shop.does(
        change_material,
        material=version.formula.material_id,
        version=None,
        facts={"composition": [PartFacts("Olea Europaea Oil", D(100))]},
    )
    product = shop.product(version, "50 g", [(jar, "1 each")])
    shop.does(set_formula_standard, formula=version.formula_id, valid_from=TODAY)
    planned = shop.plan(product, 3)
    shop.weigh_all(planned)
    shop.look_again(planned)
    beside = ByProductDraft(jelly.id, parse_quantity("1 g"), D(1))
    water = JointProductDraft(shop.material("Hydrosol").id, parse_quantity("2 g"))
    made = shop.finish(
        planned,
        "147 g",
        units=3,
        samples=["1 each"],
        by_products=[beside],
        joint=JointDraft("mass", [water]),
    )
    shop.does(empty, lot=made.lot.id, units=1, reason="no lid", happened_at=MORNING)
    shop.plan(product, 500)
    complaint = shop.does(
        log_complaint, received_on=TODAY, today=TODAY, what_happened="a rash", product=product.id
    )
    shop.does(add_fact, complaint=complaint.id, kind="note", on=TODAY, today=TODAY, text="called")
    shop.does(specify, material=oil.id, limits=[Limit("acid value", high=D(2))])
    found = [Found("acid value", D(1))]
    shop.does(record_results, lot=lot.id, found=found, tested_on=TODAY, today=TODAY)
    paper = shop.does(
        attach_document, lot=lot.id, kind="coa", content=pdf(), name="certificate.pdf"
    )
    shop.does(
        decide_through, lot=lot.id, decision="hold", basis="cloudy", documents=[str(paper.id)]
    )


def fill_the_rest(shop: Workshop) -> None:
    """A count, a late bill, a top-up, rework, intermediates, containers, a retest, an order."""
    oil = shop.material("Sunflower oil", density="0.92 g/mL")
    _allowed(shop)
    _bill(shop, oil)
    _count(shop, oil)
    _top_up(shop, oil)
    _to_effect(shop, oil)
    _rework(shop, oil)
    _intermediate(shop, oil)
    _contents(shop, oil)
    _retest(shop)
    _place(shop)
    _decant(shop)
    shop.does(close_books, closed_on=date(2020, 1, 31), today=TODAY)
    _offer(shop, oil)
    _source_test(shop)
    _order(shop, oil)
    _round(shop)
    _round_alone(shop)
    does(coordinator(shop), name_store, maker=shop.actor.maker, now=MORNING)
    shop.does(set_preferences, units="us", theme="dark", numbers="de")
    shop.does(send_list, kind="lots", name="lots.csv", content=b"material\nOil", now=MORNING)
    _alerts(shop)


def _allowed(shop: Workshop) -> None:
    """A scent of which a certificate says how much may be in what."""
    maxima = [MaximumFacts("leave_on", D("0.5"), "category 5"), MaximumFacts("rinse_off", D(2))]
    shop.material("Lily scent", cautions=["fragrance"], maxima=maxima)


def _bill(shop: Workshop, oil: Material) -> None:
    """Freight that is told after some of the goods were used."""
    lot = shop.receive(oil, "10 kg", "50.00")
    version = shop.formula("Sunflower balm", [(oil, "100")])
    planned = shop.plan(version, "1 kg")
    shop.weigh_all(planned)
    line = shop.does(lambda actor: ReceiptLine.objects.get(maker_id=actor.maker, lot=lot))
    bill = Wanted(Bill.Kind.LATE_CHARGE, D(9), charge_kind=ChargeKind.FREIGHT)
    shop.does(book_bill, receipt=line.receipt_id, bill=bill, happened_at=MORNING)


def _count(shop: Workshop, oil: Material) -> None:
    """A lot read twice, and what lacks of it explained."""
    lot = shop.receive(oil, "500 g", "4.00")
    sheet = shop.does(open_sheet, chosen=Chosen(lots=[lot.id]), now=MORNING)
    read = [Read(lot.id, quantity=parse_quantity("450 g"))]
    for _ in range(2):
        shop.does(read_lots, sheet=sheet.id, readings=read, happened_at=MORNING, now=MORNING)
    cause = Explained(lot.id, "/causes/0", CountCause.Cause.SPILL, "a bottle fell")
    shop.does(close_sheet, sheet=sheet.id, causes=[cause], now=MORNING)


def _top_up(shop: Workshop, oil: Material) -> None:
    """The first of a line runs out, and its alternate stands in; measured against a window."""
    paste, weaker = shop.material("Strong paste"), shop.material("Weak paste")
    little = shop.receive(paste, "100 g", "2.00")
    shop.receive(weaker, "5 kg", "20.00")
    other = AlternateDraft(weaker.id, D(35))
    lines = [
        LineDraft(Balance(), material=oil.id),
        LineDraft(Fixed(D(20)), material=paste.id, active_percent=D(70), alternates=[other]),
    ]
    draft = replace(
        shop.draft("Wash", []),
        phases=[PhaseDraft("A", lines)],
        windows=[Window(Measure.PH, low=D(5), high=D(6))],
    )
    planned = shop.plan(shop.does(write_formula, draft), "1 kg")
    batch = planned.batch.id
    shop.does(record_measurement, batch=batch, measure=Measure.PH, value="5.5", happened_at=MORNING)
    shop.does(top_up, batch=batch, line=planned.lines[1].line.id, lot=little.id)


def _to_effect(shop: Workshop, oil: Material) -> None:
    """What is added to effect is found enough."""
    scent = shop.material("Lavender oil")
    lot = shop.receive(scent, "100 g", "9.00")
    most = ToEffect(typical_percent=D(1), max_percent=D(2))
    planned = shop.plan(shop.formula("Scented oil", [(oil, "99"), (scent, most)]), "1 kg")
    shop.weigh(planned, 1, lot, "8 g")
    line = planned.lines[1].line.id
    shop.does(say_enough, batch=planned.batch.id, line=line, enough=True, now=MORNING)


def _rework(shop: Workshop, oil: Material) -> None:
    """Some of a made lot goes into the next batch of it."""
    draft = replace(shop.draft("Rub", [(oil, "100")]), rework_max_percent=D(10))
    version = shop.does(write_formula, draft)
    made = shop.made_lot(version, "500")
    planned = shop.plan(version, "1 kg")
    shop.does(
        rework,
        batch=planned.batch.id,
        lot=made.id,
        quantity=parse_quantity("50 g"),
        approval="smells right",
        happened_at=MORNING,
    )


def _intermediate(shop: Workshop, oil: Material) -> None:
    """What a batch lacks of an intermediate is planned for it, and lacks still."""
    steeped = shop.formula("Steeped oil", [(oil, "100")])
    planned = shop.plan(shop.formula("Salve", [(oil, "balance"), (steeped, "10")]), "1 kg")
    shop.does(plan_intermediates, batch=planned.batch.id)
    shop.does(reserve_again, batch=planned.batch.id)


def _contents(shop: Workshop, oil: Material) -> None:
    """A jar measured with water, a rule chosen, and filled jars weighed."""
    jar = shop.material("Glass jar", measured_by="count")
    shop.receive(jar, "10 each", "5.00")
    nominal = parse_quantity("100 mL")
    shop.does(set_container, material=jar.id, nominal=nominal, headspace_percent=D(2))
    piece = Piece(gross=parse_quantity("160 g"), tare=parse_quantity("50 g"))
    shop.does(
        record_water_fill,
        material=jar.id,
        level="brimful",
        at="20 degC",
        pieces=[piece],
        happened_at=MORNING,
    )
    product = shop.product(shop.formula("Ointment", [(oil, "100")]), "80 g", [(jar, "1 each")])
    shop.does(choose_rule, product=product.id, rule="us", allowed=None)
    planned = shop.plan(product, 2)
    shop.weigh_all(planned)
    shop.finish(planned, "160 g", units=2)
    shop.does(
        check_batch,
        batch=planned.batch.id,
        kind="start_up",
        passed=True,
        happened_at=MORNING,
        now=MORNING,
    )
    of = shop.does(units_of_batch, planned.batch.id)
    weighed = [Weighed(net=parse_quantity("80.5 g")), Weighed(net=parse_quantity("80.1 g"))]
    shop.does(weigh_units, of=of, weighed=weighed, happened_at=MORNING, now=MORNING)


def _retest(shop: Workshop) -> None:
    """A lot is tested again and may be used for longer; it is open, which was put right."""
    clay = shop.material("Kaolin")
    lot = shop.receive(clay, "1 kg", "3.00", retest_on=TODAY)
    shop.does(
        retest,
        lot=lot.id,
        tested_on=TODAY,
        passed=True,
        basis="dry and white",
        today=TODAY,
        retest_on=TODAY.replace(year=TODAY.year + 1),
    )
    for reason in ("", "by the one who did"):
        shop.does(say_opened, lot=lot.id, opened_on=TODAY, reason=reason)


def _place(shop: Workshop) -> None:
    """A shelf with a lot on it."""
    lot = shop.receive(shop.material("Cocoa butter"), "1 kg", "9.00")
    shelf = shop.does(add_place, name="Cold shelf", keeps="released")
    shop.does(put_lot, lot=lot.id, place=shelf.id)


def _offer(shop: Workshop, oil: Material) -> None:
    """What a supplier offers, with a break, and the terms of an order."""
    supplier = shop.does(add_supplier, name="Bulk oils")
    step = BreakFacts(parse_quantity("25 kg"), D("4.60"))
    shop.does(
        add_offer,
        supplier=supplier.id,
        material=oil.id,
        pack=parse_quantity("5 kg"),
        price=PriceFacts(TODAY, D("5.20"), breaks=[step]),
    )
    terms = TermsFacts(TODAY, freight_kind="flat", freight=D(28))
    shop.does(set_supplier_terms, supplier=supplier.id, terms=terms)


def _source_test(shop: Workshop) -> None:
    """The water of a tap is tested."""
    water = shop.material("Tap water", stocked=False)
    shop.does(
        record_source_test,
        material=water.id,
        source="tap",
        tested_on=TODAY,
        result="nothing grows",
        passed=True,
        today=TODAY,
    )


def _order(shop: Workshop, oil: Material) -> None:
    """An order of which nothing more is expected."""
    seller = shop.does(add_supplier, name="Oils by the drum")
    line = Ordered(str(oil.id), parse_quantity("5 kg"), D(25), packs=2)
    order = shop.does(write_order, supplier=seller.id, lines=[line], happened_at=MORNING)
    shop.does(end_order, order=order.id, reason="out of it", happened_at=MORNING)


def _round(shop: Workshop) -> None:
    """Ordered together, if only by one, which is asked where another does not answer."""
    others = Maker.objects.filter(coop_id=shop.coop.id).exclude(id=shop.actor.maker)
    round = asked(shop)
    about = {"round": round.id, "now": MORNING}
    for buyer in (shop.does(lambda actor: others.earliest("id").id), shop.actor.maker):
        does(coordinator(shop), ask_another, buyer=buyer, **about)
    shop.does(answer_as_buyer, agrees=True, **about)
    pledged(shop, round, offered(shop), "4 kg")
    close_and_reckon(owed(shop, round), EVENING)
    (order,) = shop.does(place_orders, round=round.id, happened_at=EVENING)
    (line,) = shop.does(lambda actor: list(order.lines.all()))
    came = Delivered(
        str(line.material_id), "S-1", parse_quantity("5 kg"), D(40), order_line=str(line.id)
    )
    about = {"charges": [], "happened_at": EVENING, "release_basis": "certificate seen"}
    received = shop.does(receive, supplier=order.supplier_id, lines=[came], **about).receipt
    shop.does(hand_out, round=round.id, happened_at=EVENING)
    late = Wanted(Bill.Kind.LATE_CHARGE, D(3), charge_kind=ChargeKind.FREIGHT)
    shop.does(book_bill, receipt=received.id, bill=late, happened_at=EVENING)
    shop.does(share_late_bills, round=round.id, happened_at=EVENING)


def _round_alone(shop: Workshop) -> None:
    """A round in which it does better by an offer of its own."""
    round, oil = opened(shop), offered(shop)
    seller = shop.does(add_supplier, name="Oils for one alone")
    pack, price = parse_quantity("5 kg"), PriceFacts(TODAY, D(20))
    shop.does(add_offer, supplier=seller.id, material=oil.id, pack=pack, price=price)
    pledged(shop, round, oil, "4 kg")
    close_and_reckon(owed(shop, round), EVENING)


def _decant(shop: Workshop) -> None:
    """A drum drawn off into two lots, and its deposit, which came back."""
    lot = shop.receive(shop.material("Betaine"), "10 kg", "30.00")
    draws = [Drawn(net=parse_quantity("4 kg")), Drawn(net=parse_quantity("5 kg"))]
    shop.does(decant, lot=lot.id, draws=draws, happened_at=MORNING)
    deposit = shop.does(
        pay_deposit, supplier=lot.supplier_id, amount=D(5), lot=lot.id, happened_at=MORNING
    )
    shop.does(return_deposit, deposit=deposit.id, happened_at=MORNING)


def _alerts(shop: Workshop) -> None:
    """What is chosen about alerts, a receiver, and a message to it."""
    shop.does(choose, Choices(expiring_days=40))
    mail = f"{shop.actor.maker}@example.org"
    added = shop.does(add_receiver, mail=mail)
    shop.does(send_test, added.receiver.id, now=MORNING)
