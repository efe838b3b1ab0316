"""Price lists of suppliers: sent as a sheet, checked first, kept whole; and given out as one."""

from collections.abc import Sequence
from dataclasses import asdict
from decimal import Decimal
from typing import Any, Final

from django.utils import translation
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiResponse
from rest_framework import serializers

from api.forms import File, Form, Upload
from api.list_columns import PRICES
from api.list_kinds import list_row
from api.operation import Resource, Sent, reads, writes
from api.printing import Printed
from api.rest.fields import Body, Choice, Id, Shown, Text, plain, shortest
from api.sheet_files import MOST_ROWS, read_sheet
from api.sheet_writing import csv_of
from ledger import offer_reading, price_lists
from ledger.access import Actor, day_of
from ledger.models import Offer
from ledger.offer_prices import rise_percent
from ledger.price_list_rows import BREAKS, KNOWN, REQUIRED, ListRow, columns
from ledger.roles import Verb

# As many breaks as a template has room for; a list may have more.
TEMPLATE_BREAKS: Final = 3
TYPES: Final = "text/csv, application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
CSV: Final = {
    (200, "text/csv"): OpenApiResponse(OpenApiTypes.BINARY, description="In UTF-8, with commas.")
}
HUNDREDTH: Final = Decimal("0.01")


def _help() -> str:
    """What a list may have, in English, as all of the API is, whoever asks for it first."""
    with translation.override("en"):
        meant = " ".join(f"{one.name}: {one.means}" for one in PRICES)
    return (
        f"CSV (UTF-8) or XLSX of one sheet, with at most {MOST_ROWS} rows. The first row names the"
        f" columns: {', '.join(columns(TEMPLATE_BREAKS))} (and so on). Needed are"
        f" {', '.join(REQUIRED)}. Days as 2026-01-31, numbers with a decimal point. {meant}"
    )


class PriceListIn(Body):
    """A form, since a file goes with it."""

    file = File(help_text=_help())
    open = Choice(
        ["true", "false"], required=False, help_text="Whether all makers of the co-op see it."
    )


class PriceListQuery(Body):
    on = serializers.DateField(required=False, help_text="Whose prices are shown; today.")
    supplier = serializers.UUIDField(required=False)
    open = Choice(
        ["true", "false"],
        required=False,
        help_text="What all makers see, or the maker's own; both if left out.",
    )


class WrongCellOut(serializers.Serializer[Any]):
    row = serializers.IntegerField(help_text="As the sheet counts: the header is row 1.")
    column = Text(allow_blank=True)
    value = Text(allow_blank=True)
    code = Text()
    detail = Text()


class PriceChangeOut(serializers.Serializer[Any]):
    row = serializers.IntegerField()
    change = serializers.ChoiceField(["added", "repriced"])
    offer = Id(allow_null=True, help_text="Null where the pack is new and not kept yet.")
    supplier_name = Text()
    material_name = Text()
    article_code = Text(allow_blank=True)
    pack = Text()
    valid_from = serializers.DateField()
    price = Shown()
    currency = Text()
    own_price = Shown(help_text="In the co-op's currency.")
    own_price_before = Shown(allow_null=True, help_text="That holds on that day up to now.")
    rise_percent = Shown(allow_null=True)


class PriceListOut(serializers.Serializer[Any]):
    rows = serializers.IntegerField()
    added = serializers.IntegerField(help_text="Packs that were not offered before.")
    repriced = serializers.IntegerField(help_text="New prices of packs that are known.")
    unchanged = serializers.IntegerField(help_text="Rows that say what is known already.")
    wrong = WrongCellOut(many=True, help_text="Nothing is kept while there is any.")
    changes = PriceChangeOut(many=True)


def list_json(found: price_lists.PriceList, *, kept: bool) -> dict[str, Any]:
    return {
        "rows": found.rows,
        "added": sum(1 for change in found.changes if change.added),
        "repriced": sum(1 for change in found.changes if not change.added),
        "unchanged": found.unchanged,
        "wrong": [asdict(one) for one in found.errors],
        "changes": [_change_json(change, kept=kept) for change in found.changes],
    }


def _change_json(change: price_lists.Change, *, kept: bool) -> dict[str, Any]:
    offer, price = change.offer, change.price
    before = None if change.was is None else change.was.own_price
    rise = None
    if before is not None and price.own_price is not None:
        rise = rise_percent(before, price.own_price).quantize(HUNDREDTH)
    return {
        "row": change.row,
        "change": "added" if change.added else "repriced",
        "offer": str(offer.id) if kept or not change.added else None,
        "supplier_name": offer.supplier.name,
        "material_name": offer.material.name,
        "article_code": offer.article_code,
        "pack": offer.entered,
        "valid_from": price.valid_from,
        "price": shortest(price.price),
        "currency": price.currency,
        "own_price": shortest(price.own_price),
        "own_price_before": shortest(before),
        "rise_percent": plain(rise),
    }


def _rows(actor: Actor, file: Upload) -> list[ListRow]:
    """The rows of a file, which is opened only for whoever may write what stands in it."""
    actor.must(Verb.OFFER)
    return [list_row(row) for row in read_sheet(file.content, known=KNOWN, required=REQUIRED)]


def _flag(data: dict[str, Any]) -> bool | None:
    """Texts are all that a form has."""
    return data["open"] == "true" if "open" in data else None


class PriceLists(Resource):
    """Lists of prices."""

    parser_classes = (Form,)

    @writes(PriceListIn, PriceListOut, encoding={"file": {"contentType": TYPES}})
    def post(self, actor: Actor, data: dict[str, Any]) -> dict[str, Any]:
        """Keep a price list, whole or not at all; what it says that is known changes nothing."""
        rows = _rows(actor, data["file"])
        return list_json(price_lists.import_list(actor, rows, opened=_flag(data)), kept=True)


class PriceListChecks(Resource):
    """What lists of prices would change."""

    parser_classes = (Form,)

    @writes(
        PriceListIn,
        PriceListOut,
        status=200,
        keyed=False,
        encoding={"file": {"contentType": TYPES}},
    )
    def post(self, actor: Actor, data: dict[str, Any]) -> dict[str, Any]:
        """Tell what a price list would change, and every error in it; nothing is kept."""
        rows = _rows(actor, data["file"])
        return list_json(price_lists.check_list(actor, rows, opened=_flag(data)), kept=False)


class PriceListTemplate(Printed):
    """The columns of a price list."""

    @reads(None, CSV)
    def get(self, actor: Actor) -> Sent:
        """Give the columns of a price list, as a CSV to fill in."""
        return _sent("price-list-template", csv_of(columns(TEMPLATE_BREAKS), []))


class CurrentPrices(Printed):
    """What is offered now, as a price list."""

    @reads(PriceListQuery, CSV)
    def get(self, actor: Actor, query: dict[str, Any]) -> Sent:
        """Give what is offered on a day as a CSV with the columns of a price list."""
        rows = offer_reading.offers(actor, on=query.get("on") or day_of(actor, self.now))
        if "supplier" in query:
            rows = rows.filter(supplier_id=query["supplier"])
        if "open" in query:
            rows = rows.filter(maker__isnull=query["open"] == "true")
        offered = [
            row for row in rows.order_by("supplier__name", "material__name", "quantity", "id")
        ]
        priced = [cells for row in offered if (cells := _cells(row, actor.currency))]
        most = max((sum(name in cells for name, _ in BREAKS) for cells in priced), default=0)
        header = columns(max(most, TEMPLATE_BREAKS))
        return _sent("price-list", csv_of(header, [_line(header, cells) for cells in priced]))


def _line(header: Sequence[str], cells: dict[str, str]) -> list[str]:
    return [cells.get(name, "") for name in header]


def _cells(offer: Offer, currency: str) -> dict[str, str]:
    """An offer as a row of a price list; nothing where it has no price on that day."""
    price = offer_reading.in_force(offer)
    if price is None or price.price is None:
        return {}
    cells = {
        "supplier": offer.supplier.name,
        "material": offer.material.name,
        "article_code": offer.article_code,
        "pack": offer.entered,
        "density": offer.density_entered if offer.density_of == "offer" else "",
        "price": shortest(price.price),
        "currency": price.currency,
        "rate": "" if price.currency == currency else shortest(price.rate),
        "valid_from": price.valid_from.isoformat(),
        "least_packs": str(price.least_packs),
        "lead_time_days": price.lead_time_days,
        "shelf_life_days": price.shelf_life_days,
        "note": price.note,
    }
    for (start, amount), step in zip(BREAKS, offer_reading.breaks_of(price), strict=False):
        cells |= {start: step.entered, amount: shortest(step.price)}
    return {name: str(value) for name, value in cells.items() if value not in (None, "")}


def _sent(name: str, content: bytes) -> Sent:
    headers = {"Content-Disposition": f'attachment; filename="{name}.csv"'}
    return Sent(content, headers=headers, kind="text/csv; charset=utf-8")
