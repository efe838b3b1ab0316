"""The shelf: lots to look for, and a lot's whole life on one page."""

from datetime import date, timedelta
from decimal import Decimal
from typing import Any
from uuid import UUID

import orjson
from django import forms
from django.http import HttpRequest, HttpResponse
from django.utils.http import content_disposition_header, urlencode
from django.utils.translation import gettext as said
from django.utils.translation import gettext_lazy as _

from api.pages import side_tables, tables, words
from api.pages.forms import LONG, CertificateField, DayField, PageForm, id_in
from api.pages.lot_life import life_of
from api.pages.lot_places import PutForm, put_form
from api.pages.screen import Screen
from api.pages.workings import Working
from api.sheets.lots import lot_label
from formulas.explaining import explain_lot
from formulas.labelling import gtin_of_lot
from formulas.today import SOON
from ledger import documents, lot_reading, lots, models, places, retesting, stopping
from ledger.access import Actor, day_of, lot_for
from ledger.finding import lots_nearly, words_of
from ledger.lot_labels import lot_to_label, maker_name
from ledger.lot_reading import LotsWanted, list_lots, movements_of
from ledger.opened_lots import open_since, openings_of, say_opened
from ledger.recall_notices import unanswered
from ledger.roles import Verb

MOST, LONGEST_SEARCH = 40, 100
# So many times that a lot was put somewhere are told; the API has all.
LAST_PUT = 5
STATUSES = [("", _("any")), *words.STATUSES.items()]
DECISIONS = [
    ("release", _("Release it")),
    ("hold", _("Hold it")),
    ("reject", _("Reject it")),
    ("quarantine", _("Back to quarantine")),
]
KINDS = [("coa", _("certificate")), ("sds", _("safety sheet")), ("other", _("something else"))]


class SearchForm(PageForm):
    q = forms.CharField(
        label=_("Look for"),
        required=False,
        max_length=LONGEST_SEARCH,
        widget=forms.TextInput(attrs={"type": "search", "autocomplete": "off"}),
    )
    status = forms.ChoiceField(label=_("That are"), required=False, choices=STATUSES)
    place = forms.ChoiceField(label=_("That lie"), required=False)
    misplaced = forms.BooleanField(label=_("Lies out of place"), required=False)
    soon = forms.BooleanField(label=_("Ends within thirty days"), required=False)
    gone = forms.BooleanField(label=_("Used up ones, too"), required=False)

    def wanted(self, today: date) -> LotsWanted:
        typed = self.cleaned_data
        words = words_of(typed.get("q", ""))
        return LotsWanted(
            status=typed.get("status") or None,
            place=typed.get("place") or None,
            out_of_place=typed.get("misplaced") or None,
            expires_before=today + SOON + timedelta(days=1) if typed.get("soon") else None,
            in_stock=None if typed.get("gone") else True,
            words=words or None,
        )


class Lots(Screen):
    """Lots that can be looked for; what was asked stays in the address."""

    template = "pages/lots.html"
    fragment = "pages/lots_found.html"

    def get(self, request: HttpRequest) -> HttpResponse:
        form = SearchForm(request.GET, reader=self.reader)
        form.offer("place", [("", _("anywhere")), *self._places()])
        form.is_valid()
        kind = tables.asked(request)
        if kind:
            return tables.file(kind, self._table(form))
        after = id_in(request.GET.get("after", ""))
        today = day_of(self.actor, self.now)
        page = list_lots(self.actor, form.wanted(today), after=after, limit=MOST)
        found = [_with_numbers(lot) for lot in orjson.loads(page.results)]
        words = words_of(form.cleaned_data.get("q", ""))
        return self.show(
            form=form,
            lots=found,
            near=[] if found else lots_nearly(self.actor, words),
            more=self._more(page.next_after),
            today=today,
        )

    def _places(self) -> list[tuple[str, str]]:
        """Those that are used, and the one that is asked for. Raises NotFound."""
        known = [(str(one.id), one.name) for one in places.choosable(self.actor)]
        asked = id_in(self.request.GET.get("place", ""))
        if asked and asked not in dict(known):
            known.append((asked, places.place_for(self.actor, asked).name))
        return known

    def _table(self, form: SearchForm) -> tables.Table:
        """The lots as a table, whatever page is looked at."""
        wanted = form.wanted(day_of(self.actor, self.now))
        page = list_lots(self.actor, wanted, after=None, limit=tables.MOST_ROWS + 1)
        columns = [said("Lot"), said("Material"), said("Their lot"), said("Status"), said("Place")]
        columns += [said("Arrived"), said("Until"), said("Quantity"), said("Unit")]
        columns += [f"{said('Worth')}, {self.actor.currency}"]
        cells = (
            (
                *(lot["code"], lot["material_name"], lot["supplier_lot"]),
                *(str(words.STATUSES[lot["status"]]), lot["place_name"]),
                *(lot["arrived_on"], lot["until"], lot["amount"]),
                *(tables.unit_of(lot["counted"]), lot["worth"]),
            )
            for lot in map(_with_numbers, orjson.loads(page.results))
        )
        return tables.Table("shelf", columns, cells)

    def _more(self, after: UUID | None) -> str:
        asked = self.request.GET
        kept = {name: asked[name] for name in SearchForm.base_fields if name in asked}
        return urlencode({**kept, "after": str(after)}) if after else ""


class DecisionForm(PageForm):
    decision = forms.ChoiceField(
        label=_("What becomes of it"), choices=DECISIONS, widget=forms.RadioSelect
    )
    basis = forms.CharField(
        label=_("Because"),
        max_length=400,
        help_text=_("Such as: certificate agrees with what was asked for"),
    )


class RetestForm(PageForm):
    passed = forms.ChoiceField(
        label=_("What was found"),
        choices=[("yes", _("It is still good")), ("no", _("It is not: hold it"))],
        widget=forms.RadioSelect,
    )
    tested_on = DayField(label=_("Tested on"))
    retest_on = DayField(
        label=_("To be tested again on"), required=False, help_text=_("If it is still good")
    )
    basis = forms.CharField(label=_("Because"), max_length=400)

    def __init__(self, *args: Any, **how: Any) -> None:
        # The form above it on the page has a field of the same name.
        super().__init__(*args, auto_id="again_%s", **how)

    def told(self) -> dict[str, Any]:
        return {**self.cleaned_data, "passed": self.cleaned_data["passed"] == "yes"}


class OpeningForm(PageForm):
    opened_on = DayField(label=_("Opened on"), required=False)
    reason = forms.CharField(label=_("Because"), max_length=400, required=False)

    def __init__(self, *args: Any, open: bool, said: bool, **how: Any) -> None:
        # Another form on the page has fields of the same names.
        super().__init__(*args, auto_id="open_%s", **how)
        if open:
            self.fields["opened_on"].help_text = _("Leave it empty if it is not open after all")
        if not said:
            self.fields["reason"].help_text = _("If some was taken from it before that day")


class PaperForm(PageForm):
    file = CertificateField(label=_("Photo or PDF"))
    kind = forms.ChoiceField(label=_("It is a"), choices=KINDS)
    note = forms.CharField(label=_("Note"), max_length=LONG, required=False)


class Lot(Screen):
    """Origin, status, papers and movements of one lot, and what may be decided about it."""

    template = "pages/lot.html"

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        return self._page(id)

    def post(self, request: HttpRequest, id: UUID) -> HttpResponse:
        if request.POST.get("do") == "keep":
            paper = PaperForm(request.POST, request.FILES, reader=self.reader)
            return self.act(
                paper,
                lambda: self._attach(id, paper.cleaned_data),
                lambda kept: f"/lots/{id}",
                lambda: self._page(id, paper=paper, status=422),
            )
        if request.POST.get("do") == "retest":
            again = RetestForm(request.POST, reader=self.reader)
            today = day_of(self.actor, self.now)
            return self.act(
                again,
                lambda: retesting.retest(self.actor, lot=id, today=today, **again.told()),
                lambda kept: f"/lots/{id}",
                lambda: self._page(id, again=again, status=422),
            )
        if request.POST.get("do") == "put":
            lot = lot_reading.show_lot(self.actor, id)
            put = put_form(self.actor, self.reader, lot, request.POST)
            return self.act(
                put,
                lambda: places.put_lot(self.actor, lot=id, place=put.to),
                lambda kept: f"/lots/{id}",
                lambda: self._page(id, put=put, status=422),
            )
        if request.POST.get("do") == "open":
            opening = self._opening(id, request.POST)
            return self.act(
                opening,
                lambda: say_opened(self.actor, lot=id, **opening.cleaned_data),
                lambda kept: f"/lots/{id}",
                lambda: self._page(id, opening=opening, status=422),
            )
        decision = DecisionForm(request.POST, reader=self.reader)
        return self.act(
            decision,
            lambda: stopping.decide_through(self.actor, lot=id, **decision.cleaned_data),
            lambda decided: f"/lots/{id}",
            lambda: self._page(id, decision=decision, status=422),
        )

    def _put(self, lot: dict[str, Any]) -> PutForm | None:
        return put_form(self.actor, self.reader, lot) if self.actor.may(Verb.PLACE) else None

    def _opening(self, id: UUID, data: Any) -> OpeningForm:
        row = lot_for(self.actor, id)
        said = lots.custody_of(self.actor, row).opened_on
        since = said or open_since(self.actor, row)
        return OpeningForm(data, open=bool(since), said=bool(said), reader=self.reader)

    def _attach(self, id: UUID, typed: dict[str, Any]) -> Any:
        file = typed["file"]
        return documents.attach_document(
            self.actor,
            lot=id,
            kind=typed["kind"],
            content=file.read(),
            name=file.name,
            said=file.content_type or "",
            note=typed["note"],
        )

    def _page(
        self,
        id: UUID,
        *,
        decision: PageForm | None = None,
        paper: PageForm | None = None,
        again: PageForm | None = None,
        put: PutForm | None = None,
        opening: PageForm | None = None,
        status: int = 200,
    ) -> HttpResponse:
        today = day_of(self.actor, self.now)
        lot = _with_numbers(lot_reading.show_lot(self.actor, id))
        row = lot_for(self.actor, id)
        material = row.material
        since = lot["opened_on"] or open_since(self.actor, row)
        return self.show(
            files={"": lambda: self._life(id, lot)},
            lot=lot,
            note=self.reader.dated(lot["dates_note"]),
            today=today,
            called_back=_called_back(self.actor, row),
            decisions=list(lots.decisions_of(self.actor, id)[:20]),
            placings=list(places.placings_of(self.actor, id)[:LAST_PUT]),
            papers=list(documents.documents_of(self.actor, id)[:20]),
            life=life_of(self.actor, row),
            decision=decision or DecisionForm(reader=self.reader),
            paper=paper or PaperForm(reader=self.reader),
            again=again or RetestForm(reader=self.reader, initial={"tested_on": today}),
            put=put or self._put(lot),
            openings=list(openings_of(self.actor, row)[:20]),
            opening=opening
            or OpeningForm(
                open=bool(since),
                said=bool(lot["opened_on"]),
                reader=self.reader,
                initial={"opened_on": since or today},
            ),
            use_within_days=material.use_within_days,
            # Of pieces each is opened by itself.
            may_open=self.actor.may(Verb.MAKE) and material.stocked and not material.counted,
            may_decide=self.actor.may(Verb.DECIDE),
            may_attach=self.actor.may(Verb.RECEIVE),
            # Of the shared catalogue, so that another maker may come to have of it.
            may_share=self.actor.may(Verb.TRANSFER) and material.maker_id is None,
            may_see_costs=self.actor.may(Verb.SEE_COSTS),
            status=status,
        )

    def _life(self, id: UUID, lot: dict[str, Any]) -> tables.Table:
        """All that moved, whatever the page shows of it."""
        moved = movements_of(self.actor, id, limit=tables.MOST_ROWS + 1)
        return side_tables.life(self.actor, moved, counted=lot["counted"])


class LotWorking(Working):
    """How the cost of a lot came about, down to the last charge; opened in place."""

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        told = explain_lot(self.actor, id)
        return self.opened(told, f"/lots/{id}", told.facts.get("lot", ""))


class LotLabel(Screen):
    """A lot's label, to print."""

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        lot, custody = lot_to_label(self.actor, id)
        sheet = lot_label(
            lot,
            custody=custody,
            maker=maker_name(self.actor),
            gtin=gtin_of_lot(self.actor, lot),
            copies=1,
            today=day_of(self.actor, self.now),
            printed_at=self.now,
            paper="a4",
            hand=self.reader,
        )
        return self.printed(sheet)


class Paper(Screen):
    """The file of a document, as it came: to keep, and not to be opened in place."""

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        found = documents.document_for(self.actor, id)
        name = content_disposition_header(True, found.name) or ""
        content = documents.file_of(self.actor, id)
        return HttpResponse(
            content, content_type=found.content_type, headers={"Content-Disposition": name}
        )


def _called_back(actor: Actor, lot: models.Lot) -> models.RecallNotice | None:
    """The notice of it that waits for one's answer; of what one received oneself there is none."""
    if lot.origin_id == actor.maker:
        return None
    return unanswered(actor).filter(lot=lot).first()


def _with_numbers(lot: dict[str, Any]) -> dict[str, Any]:
    """A lot as PostgreSQL tells it, with its figures and days as such."""
    counted = "count" in lot["on_hand"]
    amount = Decimal(lot["on_hand"]["count" if counted else "grams"])
    value = None if lot["value"] is None else Decimal(lot["value"])
    days = {
        name: lot[name] and date.fromisoformat(lot[name])
        for name in ("arrived_on", "expires_on", "retest_on", "opened_on", "use_by")
    }
    # A retest may give it another day; its expiry stands, and so does what is said of it once open.
    until = min((days[name] for name in ("expires_on", "use_by") if days[name]), default=None)
    return {**lot, **days, "until": until, "counted": counted, "amount": amount, "worth": value}
