"""Order rounds: what the co-op orders together, who pledged what, and what came of it.

Rows are only added. Of a maker's pledges for a material the last one counts; a closing is a row,
and so is what was reckoned. Orders are read by the buyer, a share by the maker whose it is, and
both by whoever acts for the co-op. What is handed out stands in `hand_outs`.
"""

from decimal import ROUND_CEILING, Decimal
from typing import Any
from uuid import UUID

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from ledger.models.base import FINITE, CoopRow, MakerRow, link, money, quantity
from ledger.models.offers import Offer
from ledger.models.orders import PurchaseOrder


def by_whom(**options: Any) -> "models.ForeignKey[Any, Any]":
    return models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+", db_index=False, **options
    )


class OrderRound(CoopRow):
    """Until `closes_at` makers may pledge; then all is ordered as one, by the buyer.

    `buyer` was named as it was opened; whoever was asked last is told by `ledger.rounds.rounds_of`:
    which asking that was, who it is, and its name. Nothing is ordered of the suppliers in `without`
    (their ids), and nothing at all where all would cost more than `budget`.
    """

    asked_number: int
    buying_id: UUID
    buying_name: str

    name = models.CharField(max_length=120)
    note = models.CharField(max_length=400, blank=True)
    opened_at = models.DateTimeField()
    closes_at = models.DateTimeField()
    buyer = link("ledger.Maker")
    budget = money(null=True)
    without = models.JSONField(default=list, db_default=[])
    person = by_whom()

    class Meta:
        constraints = (
            models.CheckConstraint(
                condition=Q(budget__isnull=True) | Q(budget__gt=0, budget__lt=FINITE),
                name="round_budget_positive",
            ),
            models.CheckConstraint(
                condition=Q(closes_at__gt=F("opened_at")), name="round_closes_after_it_opens"
            ),
        )


class RoundBuyer(CoopRow):
    """Another maker is asked to buy for all; the newest is the buyer of the round.

    With the one that is named as the round is opened, and that is number 0, they are a list of
    facts that every maker of the co-op may know.
    """

    round = link(OrderRound)
    number = models.PositiveSmallIntegerField()
    buyer = link("ledger.Maker")
    asked_at = models.DateTimeField()
    person = by_whom()

    class Meta:
        constraints = (
            models.UniqueConstraint(
                fields=["coop", "round", "number"], name="round_buyer_asked_once"
            ),
            models.CheckConstraint(condition=Q(number__gt=0), name="round_buyer_after_the_first"),
        )


class RoundBuyerAnswer(CoopRow):
    """The maker that is to buy for all agrees, or does not; the last answer counts.

    It answers when it was `asked`: a number of RoundBuyer, or 0 as the round was opened. Every
    maker of the co-op may know of it.
    """

    round = link(OrderRound)
    asked = models.PositiveSmallIntegerField(default=0, db_default=0)
    agrees = models.BooleanField()
    reason = models.CharField(max_length=400, blank=True)
    answered_at = models.DateTimeField()
    person = by_whom()

    class Meta:
        constraints = (
            models.CheckConstraint(
                condition=Q(agrees=True) | ~Q(reason=""), name="round_buyer_says_why_not"
            ),
        )
        indexes = (models.Index(fields=["coop", "round"], name="buyer_answer_by_round"),)


class RoundPledge(MakerRow):
    """So much of a material, and the highest price accepted for a kilogram or a piece.

    Without a quantity it is for leftover alone; without that either, it is withdrawn. With its
    use a month, no more comes of what keeps for a while only than is used in time.
    """

    round = link(OrderRound)
    material = link("ledger.Material")
    entered = models.CharField(max_length=64, blank=True)
    use_per_month = quantity(null=True)
    quantity = quantity(null=True)
    highest_price = money(null=True)
    takes_leftover = models.BooleanField(default=False)
    pledged_at = models.DateTimeField()
    person = by_whom()

    class Meta:
        constraints = (
            models.CheckConstraint(
                condition=Q(quantity__isnull=True) | Q(quantity__gt=0, quantity__lt=FINITE),
                name="pledge_of_something",
            ),
            models.CheckConstraint(
                condition=Q(highest_price__isnull=True)
                | Q(highest_price__gt=0, highest_price__lt=FINITE),
                name="pledge_price_positive",
            ),
            models.CheckConstraint(
                condition=Q(use_per_month__isnull=True)
                | Q(use_per_month__gt=0, use_per_month__lt=FINITE),
                name="pledge_use_positive",
            ),
        )
        indexes = (
            models.Index(fields=["coop", "round", "maker", "material"], name="pledge_by_round"),
        )


class RoundClosing(CoopRow):
    """From here on nothing is pledged. Without a person it was closed by the clock."""

    round = link(OrderRound)
    closed_at = models.DateTimeField()
    person = by_whom(null=True)

    class Meta:
        constraints = (models.UniqueConstraint(fields=["coop", "round"], name="round_closed_once"),)


class RoundOutcome(CoopRow):
    """What a round came to in all; every maker of the co-op may read it.

    `together` is the cost of all orders, `apart` what its makers would have paid, each alone.
    `shared` is what was split: the cost without the leftover that was sold. `least_excess` is in
    the co-op's currency (see `ledger.fair_split`); `proven` says that no cheaper orders exist. If
    not, no orders for all cost less than `bound`, and of no orders that were looked at more than
    the part `gap` might be saved. `by_size` says how many groups were looked at of one maker, of
    two, and so on. `over_budget` is what all would have cost where that was above the budget of the
    round, so that nothing is ordered. Of rounds that were reckoned before these were kept, nothing
    is told.
    """

    round = link(OrderRound)
    reckoned_at = models.DateTimeField()
    makers = models.PositiveIntegerField()
    together = money()
    apart = money()
    shared = money()
    least_excess = money()
    largest_excess = money()
    groups = models.PositiveIntegerField()
    proven = models.BooleanField()
    bound = money(null=True)
    gap = models.DecimalField(max_digits=7, decimal_places=6, null=True)
    by_size = models.JSONField(default=list, db_default=[])
    over_budget = money(null=True)

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=["coop", "round"], name="round_reckoned_once"),
            models.CheckConstraint(
                condition=Q(bound__isnull=True) | Q(bound__gte=0, bound__lte=F("together")),
                name="round_bound_not_above_cost",
            ),
            models.CheckConstraint(
                condition=Q(gap__isnull=True) | Q(gap__gte=0, gap__lte=1), name="round_gap_a_part"
            ),
            models.CheckConstraint(
                condition=Q(together__gte=0, together__lt=FINITE, shared__gte=0)
                & Q(shared__lte=F("together"), apart__gte=F("shared"), apart__lt=FINITE),
                name="round_dearer_apart",
            ),
        )

    @property
    def leftover_sold(self) -> Decimal:
        """What is paid for leftover by whoever asked for it."""
        sold: Decimal = self.together - self.shared
        return sold

    @property
    def all_groups(self) -> int:
        """How many groups its makers can form."""
        return (1 << self.makers) - 1

    @property
    def looked_at(self) -> list[tuple[int, int]]:
        """Of how many makers the groups were that were looked at, and how many of each."""
        return [(size, groups) for size, groups in enumerate(self.by_size, 1) if groups]

    @property
    def gap_percent(self) -> Decimal | None:
        """What might be saved, in hundredths of a percent, rounded up."""
        if self.gap is None:
            return None
        found: Decimal = (self.gap * 100).quantize(Decimal("0.01"), rounding=ROUND_CEILING)
        return found


class RoundOrder(MakerRow):
    """What the round orders of one supplier; the maker is the buyer.

    Whoever is asked to buy afterwards has rows of its own.
    """

    round = link(OrderRound)
    supplier = link("ledger.Supplier")
    goods = money()
    freight = money()

    class Meta:
        constraints = (
            models.UniqueConstraint(
                fields=["coop", "round", "maker", "supplier"],
                name="round_order_of_a_supplier_once",
            ),
            models.CheckConstraint(
                condition=Q(goods__gte=0, goods__lt=FINITE, freight__gte=0, freight__lt=FINITE),
                name="round_order_costs",
            ),
        )


class RoundOrderLine(MakerRow):
    """So many packs of an offer."""

    order = link(RoundOrder, related_name="lines")
    position = models.PositiveSmallIntegerField()
    offer = link(Offer)
    packs = models.PositiveIntegerField()
    quantity = quantity()
    price = money(help_text="Of one pack.")
    amount = money()

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=["coop", "order", "offer"], name="round_offer_once"),
            models.CheckConstraint(
                condition=Q(packs__gt=0, quantity__gt=0, quantity__lt=FINITE)
                & Q(price__gte=0, price__lt=FINITE, amount__gte=0, amount__lt=FINITE),
                name="round_line_of_packs",
            ),
        )


class RoundShare(MakerRow):
    """What a maker pays, beside the cheapest that was found for its own pledges alone.

    `alone_orders` are those orders, as they were found: they are never placed.
    """

    round = link(OrderRound)
    alone = money()
    amount = money()
    leftover_amount = money()
    alone_orders = models.JSONField()

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=["coop", "round", "maker"], name="round_share_once"),
            models.CheckConstraint(
                condition=Q(amount__gte=0, amount__lte=F("alone"), alone__lt=FINITE)
                & Q(leftover_amount__gte=0, leftover_amount__lt=FINITE),
                name="round_share_not_above_alone",
            ),
        )

    @property
    def saved(self) -> Decimal:
        """Against ordering alone."""
        saved: Decimal = self.alone - self.amount
        return saved

    @property
    def to_pay(self) -> Decimal:
        """With the leftover that it asked for."""
        owed: Decimal = self.amount + self.leftover_amount
        return owed


class RoundOwnAlone(MakerRow):
    """What a maker would pay alone by offers of its own as well, where that is less than by those
    that the co-op shares; with the orders, as they were found. Its maker alone may read it."""

    round = link(OrderRound)
    cost = money()
    orders = models.JSONField()

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=["coop", "round", "maker"], name="round_own_alone_once"),
            models.CheckConstraint(
                condition=Q(cost__gte=0, cost__lt=FINITE), name="round_own_alone_costs"
            ),
        )


class RoundShareLine(MakerRow):
    """What a maker gets of a material and pays for it; or why its pledge took no part.

    `quantity` was pledged, `leftover` comes on top. A `dropped` pledge has neither, and its price
    is what it would have had to pay.
    """

    round = link(OrderRound)
    pledge = link(RoundPledge)
    material = link("ledger.Material")
    dropped = models.CharField(max_length=12, blank=True)
    leftover = quantity(default=Decimal(0))
    leftover_amount = money(default=Decimal(0))
    quantity = quantity(default=Decimal(0))
    amount = money(default=Decimal(0))
    price = money(null=True, help_text="Of a kilogram or a piece, freight included.")

    class Meta:
        constraints = (
            models.CheckConstraint(
                condition=Q(quantity__gte=0, quantity__lt=FINITE, amount__gte=0, amount__lt=FINITE)
                & Q(leftover__gte=0, leftover__lt=FINITE)
                & Q(leftover_amount__gte=0, leftover_amount__lt=FINITE),
                name="round_share_line_amounts",
            ),
            models.CheckConstraint(
                condition=Q(dropped="") | Q(quantity=0, amount=0, leftover=0, leftover_amount=0),
                name="dropped_pledge_gets_nothing",
            ),
        )
        indexes = (models.Index(fields=["coop", "maker", "round"], name="share_line_by_round"),)


class RoundPlacement(MakerRow):
    """The buyer has written the order of a supplier in its own books, under this number.

    Whoever acts for the co-op sees the number, and not the order.
    """

    order = link(RoundOrder, related_name="placements")
    purchase_order = link(PurchaseOrder)
    number = models.CharField(max_length=20)

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=["coop", "order"], name="round_order_placed_once"),
        )
