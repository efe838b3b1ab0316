"""Sheets and labels to print."""

from decimal import Decimal
from typing import Any

from rest_framework import serializers

from api.printing import Printed, PrintQuery, prints
from api.rest.declarations import MARKETS
from api.rest.fields import Choice, DecimalText
from api.sheets.batch import batch_sheet
from api.sheets.blocks import Sheet
from api.sheets.figures import Plain
from api.sheets.lots import count_sheet, lot_label, sheet_of_count
from api.sheets.product import product_label
from formulas.access import batches_of, with_details
from formulas.declaration import Market
from formulas.labelling import gtin_of_lot, label_product
from ledger.access import Actor, day_of, find
from ledger.lot_labels import lot_to_label, lots_of_count, lots_to_count, maker_name


class BatchSheetQuery(PrintQuery):
    tolerance_percent = DecimalText(
        least="0",
        most="10",
        required=False,
        help_text="How far a weighing may lie from its target; 1 if left out.",
    )


class LotLabelQuery(PrintQuery):
    copies = serializers.IntegerField(min_value=1, max_value=50, required=False)


class ProductLabelQuery(PrintQuery):
    lot = serializers.UUIDField(required=False, help_text="For this lot of it.")
    market = Choice(MARKETS, required=False, help_text="Whose rules and names; eu if left out.")


class CountSheetQuery(PrintQuery):
    material = serializers.UUIDField(required=False)
    blind = serializers.BooleanField(required=False, help_text="Without the books' figures.")


class BatchSheets(Printed):
    """The sheet of a batch."""

    @prints(BatchSheetQuery)
    def get(self, actor: Actor, query: dict[str, Any], id: str) -> Sheet:
        """Print the sheet of a batch, to follow, fill in and sign."""
        return batch_sheet(
            find(with_details(batches_of(actor)), id),
            maker=maker_name(actor),
            printed_at=self.now,
            tolerance_percent=query.get("tolerance_percent", Decimal(1)),
            paper=query.get("paper", "a4"),
            hand=Plain(actor.time_zone),
        )


class LotLabels(Printed):
    """The label of a lot."""

    @prints(LotLabelQuery)
    def get(self, actor: Actor, query: dict[str, Any], id: str) -> Sheet:
        """Print labels for a lot's containers, with a QR code of its code and date."""
        lot, custody = lot_to_label(actor, id)
        return lot_label(
            lot,
            custody=custody,
            maker=maker_name(actor),
            gtin=gtin_of_lot(actor, lot),
            copies=query.get("copies", 1),
            today=day_of(actor, self.now),
            printed_at=self.now,
            paper=query.get("paper", "a4"),
            hand=Plain(actor.time_zone),
        )


class ProductLabels(Printed):
    """The label of a product."""

    @prints(ProductLabelQuery)
    def get(self, actor: Actor, query: dict[str, Any], id: str) -> Sheet:
        """Draft the label of a product, for one lot or in general, and say what is missing."""
        market, today = Market(query.get("market", "eu")), day_of(actor, self.now)
        label = label_product(actor, product=id, today=today, lot=query.get("lot"), market=market)
        return product_label(
            label,
            market=market,
            today=today,
            printed_at=self.now,
            paper=query.get("paper", "a4"),
            hand=Plain(actor.time_zone),
        )


class SheetsOfCounts(Printed):
    """The sheet of a count."""

    @prints()
    def get(self, actor: Actor, query: dict[str, Any], id: str) -> Sheet:
        """Print the lots of a count, to write down what is there; blind if the count is."""
        sheet, lots = lots_of_count(actor, id)
        return sheet_of_count(
            sheet,
            lots,
            maker=maker_name(actor),
            printed_at=self.now,
            paper=query.get("paper", "a4"),
            hand=Plain(actor.time_zone),
        )


class CountSheets(Printed):
    """What is in store, to count by."""

    @prints(CountSheetQuery)
    def get(self, actor: Actor, query: dict[str, Any]) -> Sheet:
        """Print a list of the lots in store to count by, of one material or of all."""
        lots, more = lots_to_count(actor, material=query.get("material"))
        return count_sheet(
            lots,
            maker=maker_name(actor),
            blind=query.get("blind", False),
            printed_at=self.now,
            paper=query.get("paper", "a4"),
            hand=Plain(actor.time_zone),
            more=more,
        )
