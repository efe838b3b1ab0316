"""What the demo's makers give each other: a drum drawn off, shared lots, what is paid for it."""

from datetime import timedelta
from decimal import Decimal
from typing import Final

from formulas.demo.bench import Bench
from formulas.demo.history import SEEN
from formulas.demo.incidents import Incident
from ledger.alert_settings import Choices, choose
from ledger.claiming import claim_share
from ledger.costing import Charge, ChargeKind, SpreadBy
from ledger.decanting import Drawn, decant
from ledger.deposits import deposits_of, pay_deposit, return_deposit
from ledger.models import Share
from ledger.quantities import parse_quantity
from ledger.receiving import Delivered, receive
from ledger.settling import record_payment
from ledger.sharing import Terms, open_share, shares_of_coop
from ledger.transferring import accept_transfer, makers_of_coop, transfers_of


def share_of(bench: Bench, material: str, days_ago: int) -> Share:
    """The one share of a material that others have open."""
    rows = bench.does(
        shares_of_coop,
        now=bench.at(days_ago, 8),
        own=False,
        material=bench.materials[material],
    )
    return rows.get()


def maker_id(bench: Bench, name: str) -> str:
    """Another maker of the co-op."""
    return str(bench.does(makers_of_coop).get(name=name).id)


def use_is_told(bench: Bench, days_ago: int) -> None:
    """What a maker uses is told to the others, so that they know where a lot would be used."""
    bench.does(choose, Choices(use_told="named"))


def drum_came(bench: Bench, days_ago: int) -> None:
    """A drum of sunflower oil comes, with a deposit on the drum."""
    received = bench.does(
        receive,
        supplier=bench.suppliers["oils"],
        lines=[
            Delivered(
                material=str(bench.materials["sunflower"]),
                supplier_lot="SF 30417",
                quantity=parse_quantity("8 gal"),
                price=Decimal("142.00"),
                expires_on=bench.day(days_ago) + timedelta(days=540),
            )
        ],
        charges=[Charge(ChargeKind.FREIGHT, Decimal("14.00"), SpreadBy.MASS)],
        happened_at=bench.at(days_ago, 8, 45),
        release_basis=SEEN,
        reference="delivery note 20417",
    )
    bench.lots["drum"] += received.lots
    bench.does(
        pay_deposit,
        supplier=bench.suppliers["oils"],
        amount=Decimal("35.00"),
        happened_at=bench.at(days_ago, 9),
        lot=bench.lots["drum"][-1].id,
        note="steel drum",
    )


def drum_drawn_off(bench: Bench, days_ago: int) -> None:
    """Most of the drum is drawn off for its buyer, the rest for another maker."""
    bench.does(
        decant,
        lot=bench.lots["drum"][-1].id,
        draws=[
            Drawn(net=parse_quantity("10.2 kg")),
            Drawn(net=parse_quantity("10.1 kg")),
            Drawn(
                gross=parse_quantity("7.52 kg"),
                tare=parse_quantity("0.42 kg"),
                maker=maker_id(bench, "Mill Bench"),
            ),
        ],
        happened_at=bench.at(days_ago, 10),
        note="three cans",
    )


def can_taken(bench: Bench, days_ago: int) -> None:
    """What was drawn off for this maker is taken."""
    for offer in bench.does(transfers_of, incoming=True, state="open"):
        bench.does(
            accept_transfer,
            transfer=offer.id,
            happened_at=bench.at(days_ago, 11),
            release_basis=SEEN,
        )


def old_drum_back(bench: Bench, days_ago: int) -> None:
    """An older drum goes back, and its deposit comes back with it."""
    bench.does(
        pay_deposit,
        supplier=bench.suppliers["surfactants"],
        amount=Decimal("20.00"),
        happened_at=bench.at(days_ago + 41, 9),
        note="blue drum of decyl glucoside",
    )
    (due,) = bench.does(deposits_of, due=True)
    bench.does(
        return_deposit,
        deposit=due.id,
        happened_at=bench.at(days_ago, 15),
        note="credit note 118",
    )


def paid_in_part(bench: Bench, days_ago: int) -> None:
    """Another maker is paid for a part of what it is owed."""
    bench.does(
        record_payment,
        maker=maker_id(bench, "Quay Bench"),
        amount=Decimal("25.00"),
        paid=True,
        happened_at=bench.at(days_ago, 12),
        note="by bank, for the sunflower oil",
    )


def acid_shared(bench: Bench, days_ago: int) -> None:
    """Citric acid for years is open to all at cost; whoever asks has it."""
    bench.does(
        open_share,
        lot=bench.lots["citric"][-1].id,
        quantity=parse_quantity("250 g"),
        happened_at=bench.at(days_ago, 9),
        accepts_itself=True,
        note="more than we use in two years",
    )


def acid_claimed(bench: Bench, days_ago: int) -> None:
    """Some of it is claimed, and comes over at once."""
    bench.does(
        claim_share,
        share=share_of(bench, "citric", days_ago).id,
        quantity=parse_quantity("100 g"),
        happened_at=bench.at(days_ago, 13),
    )


def rosemary_shared(bench: Bench, days_ago: int) -> None:
    """Rosemary oil that this maker will not use before its last day is offered below cost."""
    bench.does(
        open_share,
        lot=bench.lots["rosemary"][-1].id,
        terms=Terms(price=Decimal("90.00")),
        happened_at=bench.at(days_ago, 9),
        note="good for another few weeks; we make nothing with it now",
    )


def rosemary_claimed(bench: Bench, days_ago: int) -> None:
    """Half of it is asked for; the giver has not answered yet."""
    bench.does(
        claim_share,
        share=share_of(bench, "rosemary", days_ago).id,
        quantity=parse_quantity("50 g"),
        happened_at=bench.at(days_ago, 16),
        note="for the hand wash of this week",
    )


def xanthan_shared(bench: Bench, days_ago: int) -> None:
    """Xanthan gum is open to all, at cost and a little for the trouble."""
    bench.does(
        open_share,
        lot=bench.lots["xanthan"][-1].id,
        quantity=parse_quantity("300 g"),
        terms=Terms(percent=Decimal(5)),
        happened_at=bench.at(days_ago, 10),
        note="bring your own jar",
    )


GIVEN: Final = (
    Incident(90, "north", use_is_told),
    Incident(90, "mill", use_is_told),
    Incident(38, "quay", drum_came),
    Incident(37, "quay", drum_drawn_off),
    Incident(36, "mill", can_taken),
    Incident(25, "north", old_drum_back),
    Incident(18, "mill", paid_in_part),
    Incident(11, "north", acid_shared),
    Incident(7, "mill", acid_claimed),
    Incident(6, "quay", rosemary_shared),
    Incident(5, "mill", xanthan_shared),
    Incident(1, "north", rosemary_claimed),
)
