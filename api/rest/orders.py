"""Orders from suppliers."""

from typing import Any

from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiResponse

from api.operation import Resource, Sent, reads, writes
from api.paging import page, page_of
from api.printing import SHEET, Printed, sent
from api.rest.order_examples import (
    ORDER_CORRECTION,
    ORDER_ENDING,
    ORDER_SENDING,
    PURCHASE_ORDER,
)
from api.rest.order_shapes import (
    OrderCorrectionIn,
    OrderEndingIn,
    OrderSendingIn,
    OrderSheetQuery,
    PurchaseOrderIn,
    PurchaseOrderOut,
    PurchaseOrderQuery,
    order_json,
)
from api.sheets.order import order_csv, order_sheet
from ledger import order_reading, ordering
from ledger.access import Actor, day_of
from ledger.order_papers import paper_for

CSV = OpenApiResponse(OpenApiTypes.BINARY, description="The lines alone, with format=csv.")


class Orders(Resource):
    """Orders from suppliers."""

    @reads(PurchaseOrderQuery, page_of(PurchaseOrderOut))
    def get(self, actor: Actor, query: dict[str, Any]) -> Sent:
        """List orders with their lines and facts, newest first; prices for who may see them."""
        wanted = order_reading.OrdersWanted(
            query.get("state"), query.get("supplier"), query.get("material")
        )
        today = day_of(actor, self.now)
        rows = order_reading.orders_of(actor, wanted, today=today)
        found = page(self.request, query, rows, lambda row: row)
        told = order_reading.told(found.body["results"])
        found.body["results"] = [order_json(one, actor, today) for one in told]
        return found

    @writes(PurchaseOrderIn, PurchaseOrderOut, examples=PURCHASE_ORDER)
    def post(self, actor: Actor, data: dict[str, Any]) -> dict[str, Any]:
        """Write an order; what is to come of it counts as on order at once."""
        made = ordering.write_order(
            actor,
            supplier=data["supplier"],
            lines=[ordering.Ordered(**line) for line in data["lines"]],
            happened_at=data.get("happened_at", self.now),
            note=data.get("note", ""),
        )
        return _one(self, actor, made.id)


class OneOrder(Resource):
    """One order."""

    @reads(None, PurchaseOrderOut)
    def get(self, actor: Actor, id: str) -> dict[str, Any]:
        """Show an order: its lines as they stand, and every dated fact about it."""
        return _one(self, actor, id)


class OrderCorrections(Resource):
    """What holds of an order from a moment on."""

    @writes(OrderCorrectionIn, PurchaseOrderOut, examples=ORDER_CORRECTION)
    def post(self, actor: Actor, data: dict[str, Any], id: str) -> dict[str, Any]:
        """Correct a line: its packs and price, or its day. A line that has ended is open again."""
        changes = ordering.Changes(
            packs=data.get("packs"),
            pack=data.get("pack"),
            price=data.get("price"),
            expected_on=data.get("expected_on"),
            undated="expected_on" in data and data["expected_on"] is None,
        )
        ordering.correct_line(
            actor,
            order=id,
            line=data["order_line"],
            changes=changes,
            reason=data["reason"],
            happened_at=data.get("happened_at", self.now),
        )
        return _one(self, actor, id)


class OrderEndings(Resource):
    """That nothing more is expected."""

    @writes(OrderEndingIn, PurchaseOrderOut, examples=ORDER_ENDING)
    def post(self, actor: Actor, data: dict[str, Any], id: str) -> dict[str, Any]:
        """Say that nothing more is expected of an order or of one of its lines, and why."""
        ordering.end_order(
            actor,
            order=id,
            line=data.get("order_line"),
            reason=data["reason"],
            happened_at=data.get("happened_at", self.now),
        )
        return _one(self, actor, id)


class OrderSendings(Resource):
    """Mails of an order to its supplier."""

    @writes(OrderSendingIn, PurchaseOrderOut, examples=ORDER_SENDING)
    def post(self, actor: Actor, data: dict[str, Any], id: str) -> dict[str, Any]:
        """Mail an order to its supplier as PDF and CSV; sent is told once it was handed over."""
        ordering.send_order(
            actor,
            order=id,
            note=data.get("note", ""),
            happened_at=self.now,
        )
        return _one(self, actor, id)


class OrderSheets(Printed):
    """The sheet of an order."""

    @reads(OrderSheetQuery, {**SHEET, (200, "text/csv"): CSV})
    def get(self, actor: Actor, query: dict[str, Any], id: str) -> Sent:
        """Print an order for its supplier, or give its lines as CSV."""
        paper, format = paper_for(actor, id), query.get("format", "html")
        if format == "csv":
            name = f'attachment; filename="order-{paper.order.number}.csv"'
            headers = {"Content-Disposition": name}
            return Sent(order_csv(paper), headers=headers, kind="text/csv; charset=utf-8")
        page = query.get("paper", "a4")
        return sent(order_sheet(paper, printed_at=self.now, page=page), format)


def _one(view: Resource, actor: Actor, id: Any) -> dict[str, Any]:
    (told,) = order_reading.told([ordering.order_for(actor, id)])
    return order_json(told, actor, day_of(actor, view.now))
