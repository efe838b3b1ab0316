"""How what came of an order round was handed out, and how bills that came later were shared.

Rows are only added, by the ledger's own functions.
"""

from django.db import models
from django.db.models import F, Q

from ledger.models.base import FINITE, CoopRow, MakerRow, link, money, quantity
from ledger.models.rounds import OrderRound, by_whom
from ledger.models.sharing import Movement
from ledger.models.transfers import Transfer


class RoundHandOut(CoopRow):
    """What came of a round was handed out, once; `paid` is what all pay for it together."""

    round = link(OrderRound)
    happened_at = models.DateTimeField()
    note = models.CharField(max_length=400, blank=True)
    paid = money()
    within_alone = models.BooleanField(help_text="Whether nobody pays more than alone.")
    person = by_whom()
    recorded_at = models.DateTimeField()

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=["coop", "round"], name="round_handed_out_once"),
            models.CheckConstraint(
                condition=Q(paid__gte=0, paid__lt=FINITE), name="round_paid_not_negative"
            ),
        )


class RoundPortion(MakerRow):
    """So much of a material that the buyer (`maker`) handed to another, by a move; or kept.

    Both see the row, and so does whoever acts for the co-op.
    """

    hand_out = link(RoundHandOut, related_name="portions")
    to_maker = link("ledger.Maker")
    material = link("ledger.Material")
    quantity = quantity()
    amount = money()
    transfer = link(Transfer, null=True)

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=["coop", "transfer"], name="round_portion_moved_once"),
            models.CheckConstraint(
                condition=Q(quantity__gt=0, quantity__lt=FINITE)
                & Q(amount__gte=0, amount__lt=FINITE),
                name="round_portion_of_something",
            ),
            models.CheckConstraint(
                condition=Q(maker=F("to_maker"), transfer__isnull=True)
                | ~Q(maker=F("to_maker")) & Q(transfer__isnull=False),
                name="round_portion_moves_or_stays",
            ),
        )
        indexes = (models.Index(fields=["coop", "hand_out"], name="round_portion_by_hand_out"),)


class RoundLateBill(CoopRow):
    """What was billed after a round was handed out was shared; `amount` is what all pay more for
    it together, below zero what they get back."""

    hand_out = link(RoundHandOut)
    happened_at = models.DateTimeField()
    note = models.CharField(max_length=400, blank=True)
    amount = money()
    person = by_whom()
    recorded_at = models.DateTimeField()

    class Meta:
        constraints = (
            models.CheckConstraint(
                condition=Q(amount__gt=-FINITE, amount__lt=FINITE), name="late_bill_is_a_number"
            ),
        )
        indexes = (models.Index(fields=["coop", "hand_out"], name="late_bill_by_hand_out"),)


class RoundLatePart(MakerRow):
    """What one maker pays more for its portion, to the buyer (`maker`); without a movement it is
    the buyer's own.

    Both see the row, and so does whoever acts for the co-op.
    """

    late_bill = link(RoundLateBill, related_name="parts")
    to_maker = link("ledger.Maker")
    portion = link(RoundPortion, related_name="late_parts")
    amount = money()
    movement = link(Movement, null=True)

    class Meta:
        constraints = (
            models.UniqueConstraint(
                fields=["coop", "late_bill", "portion"], name="late_part_of_a_portion_once"
            ),
            models.CheckConstraint(
                condition=~Q(amount=0) & Q(amount__gt=-FINITE, amount__lt=FINITE),
                name="late_part_of_something",
            ),
            models.CheckConstraint(
                condition=Q(maker=F("to_maker"), movement__isnull=True)
                | ~Q(maker=F("to_maker")) & Q(movement__isnull=False),
                name="late_part_moves_or_stays",
            ),
        )
        indexes = (models.Index(fields=["coop", "portion"], name="late_part_by_portion"),)
