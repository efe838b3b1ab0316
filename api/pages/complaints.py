"""Complaints and adverse events: written down as they were told, answered, and closed.

What the law asks for by what day is shown and never decided.
"""

from collections.abc import Iterable
from typing import Any, ClassVar
from uuid import UUID

from django import forms
from django.db.models import QuerySet
from django.db.models.functions import Lower
from django.http import HttpRequest, HttpResponse
from django.utils.functional import Promise
from django.utils.http import urlencode
from django.utils.translation import gettext as said
from django.utils.translation import gettext_lazy as _

from api.pages import tables
from api.pages.forms import DayField, PageForm, id_in
from api.pages.reader import Reader
from api.pages.screen import Screen
from formulas import complaints
from formulas.access import products_of
from formulas.adverse_clocks import CAUTION, RECORDS, Clock, next_report
from formulas.complaints import ComplaintsWanted, Told
from formulas.models import Complaint as Kept
from ledger.access import day_of, lot_for
from ledger.roles import Verb

MOST, MOST_FACTS, MOST_NAMES = 30, 10, 200
LONGEST, LONGEST_NAME = 4000, 120
STATES = [("", _("all")), ("open", _("open")), ("closed", _("closed"))]
HARMS = [("", _("all")), ("adverse", _("harm to health")), ("serious", _("serious ones alone"))]
HARMED = [
    ("no", _("No")),
    ("adverse", _("Yes, or it may have")),
    ("serious", _("Yes, and it was serious")),
]
CLOSED = "closed"
FACTS: dict[str, str | Promise] = {
    "note": _("found out, or answered by you"),
    "adverse": _("it harmed health, or may have"),
    "serious": _("it was serious"),
    "medical_information": _("medical information came"),
    "reported_us": _("reported to the FDA"),
    "reported_eu": _("notified in the EU"),
    CLOSED: _("closed"),
}


class WantedForm(PageForm):
    state = forms.ChoiceField(label=_("That are"), required=False, choices=STATES)
    harm = forms.ChoiceField(label=_("And of"), required=False, choices=HARMS)

    def wanted(self, lot: UUID | None) -> ComplaintsWanted:
        typed = self.cleaned_data if self.is_valid() else {}
        harm = typed.get("harm")
        return ComplaintsWanted(
            lot=lot,
            state=typed.get("state") or None,
            adverse=True if harm == "adverse" else None,
            serious=True if harm == "serious" else None,
        )


class Complaints(Screen):
    """The complaints, the latest first: all of them, or those of one lot."""

    template = "pages/complaints.html"

    def get(self, request: HttpRequest) -> HttpResponse:
        form = WantedForm(request.GET, reader=self.reader)
        asked = id_in(request.GET.get("lot", ""))
        lot = lot_for(self.actor, asked) if asked else None
        wanted = form.wanted(lot.id if lot else None)
        rows = complaints.complaints_of(self.actor, wanted).order_by("-id")
        kind = tables.asked(request)
        if kind:
            return tables.file(kind, self._table(rows))
        after = id_in(request.GET.get("after", ""))
        if after is not None:
            rows = rows.filter(id__lt=after)
        told = complaints.told(self.actor, rows[: MOST + 1])
        kept = {name: request.GET[name] for name in ("state", "harm", "lot") if name in request.GET}
        more = {**kept, "after": str(told[MOST - 1].complaint.id)} if told[MOST:] else None
        return self.show(
            form=form,
            lot=lot,
            found=[(one, next_report(one.clocks)) for one in told[:MOST]],
            today=day_of(self.actor, self.now),
            more=urlencode(more) if more else "",
            may_hear=self.actor.may(Verb.HEAR),
        )

    def _table(self, rows: "QuerySet[Kept]") -> tables.Table:
        """All of them as a table, with the report that waits, whatever page is looked at."""
        columns = [said("Received"), said("What happened"), said("Who told it")]
        columns += [said("On the pack"), said("Lot"), said("Batch"), said("Product")]
        columns += [said("Harm"), said("Serious"), said("Report asked for by"), said("Closed")]
        found = complaints.told(self.actor, rows[: tables.MOST_ROWS + 1])
        return tables.Table("complaints", columns, map(_cells, found))


def _cells(told: Told) -> tuple[tables.Cell, ...]:
    row, waits = told.complaint, next_report(told.clocks)
    return (
        *(row.received_on, row.what_happened, row.customer, row.batch_code),
        row.lot.code if row.lot else "",
        told.batch.code if told.batch else "",
        row.product.name if row.product else "",
        said("yes") if told.adverse else "",
        said("yes") if told.serious else "",
        waits.due_on if waits else None,
        told.closed_on,
    )


class ComplaintForm(PageForm):
    called: ClassVar = {"/adverse": "harmed", "/lot": "batch_code"}

    received_on = DayField(
        label=_("When it reached you"), help_text=_("The day from which the law counts")
    )
    what_happened = forms.CharField(
        label=_("What happened"),
        max_length=LONGEST,
        widget=forms.Textarea(attrs={"rows": 5}),
        help_text=_("As it was told"),
    )
    customer = forms.CharField(
        label=_("Who told it"),
        max_length=LONGEST_NAME,
        required=False,
        help_text=_("Your own reference of the customer or shop"),
    )
    batch_code = forms.CharField(
        label=_("What stands on the pack"),
        max_length=80,
        required=False,
        help_text=_("The code of the lot or batch; one that is not found is kept as it was told"),
    )
    product = forms.ChoiceField(label=_("Product"), required=False)
    # From memory: FD&C Act §604(5), Regulation (EC) No 1223/2009 Art 2(1)(p).
    harmed = forms.ChoiceField(
        label=_("Did it harm somebody's health?"),
        choices=HARMED,
        initial="no",
        widget=forms.RadioSelect,
        help_text=_(
            "Serious: a stay in hospital, danger to life or death, lasting harm, an infection,"
            " disfigurement such as lasting rashes, burns or much hair lost, or that a doctor had"
            " to prevent these. In doubt, ask your authority."
        ),
    )

    def told(self) -> dict[str, Any]:
        typed = dict(self.cleaned_data)
        harmed = typed.pop("harmed")
        harm = {"adverse": harmed != "no", "serious": harmed == "serious"}
        return {**typed, **harm, "product": typed["product"] or None}


class NewComplaint(Screen):
    """Writing down what somebody told, linked to its lot by what stands on the pack."""

    template = "pages/complaint_new.html"

    def get(self, request: HttpRequest) -> HttpResponse:
        self.actor.must(Verb.HEAR)
        typed: dict[str, Any] = {"received_on": day_of(self.actor, self.now)}
        lot = id_in(request.GET.get("lot", ""))
        if lot is not None:
            typed["batch_code"] = lot_for(self.actor, lot).code
        return self.show(form=self._form(initial=typed))

    def post(self, request: HttpRequest) -> HttpResponse:
        self.actor.must(Verb.HEAR)
        form = self._form(request.POST)
        today = day_of(self.actor, self.now)
        return self.act(
            form,
            lambda: complaints.log_complaint(self.actor, today=today, **form.told()),
            lambda made: f"/complaints/{made.id}",
            lambda: self.show(form=form, status=422),
        )

    def _form(self, data: Any = None, **how: Any) -> ComplaintForm:
        form = ComplaintForm(data, reader=self.reader, **how)
        names = products_of(self.actor).order_by(Lower("name")).values_list("id", "name")
        choices = [(str(id), name) for id, name in names[:MOST_NAMES]]
        form.offer("product", [("", said("not known")), *choices])
        return form


class FactForm(PageForm):
    kind = forms.ChoiceField(
        label=_("What it is"),
        choices=[one for one in FACTS.items() if one[0] != CLOSED],
        initial="note",
    )
    on = DayField(label=_("On which day"))
    text = forms.CharField(
        label=_("In words"), max_length=LONGEST, widget=forms.Textarea(attrs={"rows": 4})
    )


class CloseForm(PageForm):
    on = DayField(label=_("On which day"))
    text = forms.CharField(
        label=_("What was found, and what was done"),
        max_length=LONGEST,
        widget=forms.Textarea(attrs={"rows": 3}),
    )

    def __init__(self, *args: Any, **how: Any) -> None:
        # The form above it on the page has fields of the same names.
        super().__init__(*args, auto_id="close_%s", **how)


class Complaint(Screen):
    """One complaint: what was told, what the law asks for by when, and all that came of it."""

    template = "pages/complaint.html"

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        return self._page(id)

    def post(self, request: HttpRequest, id: UUID) -> HttpResponse:
        self.actor.must(Verb.HEAR)
        closing = request.POST.get("do") == "close"
        form = (CloseForm if closing else FactForm)(request.POST, reader=self.reader)
        again = {"closing": form} if closing else {"form": form}
        return self.act(
            form,
            lambda: complaints.add_fact(
                self.actor,
                complaint=id,
                today=day_of(self.actor, self.now),
                **{"kind": CLOSED, **form.cleaned_data},
            ),
            lambda kept: f"/complaints/{id}",
            lambda: self._page(id, **again, status=422),
        )

    def _page(
        self,
        id: UUID,
        *,
        form: PageForm | None = None,
        closing: PageForm | None = None,
        status: int = 200,
    ) -> HttpResponse:
        (told,) = complaints.told(self.actor, [complaints.complaint_for(self.actor, id)])
        today = day_of(self.actor, self.now)
        clocks, facts = told.clocks, list(reversed(told.facts))
        first = {"on": today}
        return self.show(
            files={"": lambda: _facts(told), "clocks": lambda: _clocks(clocks, self.reader)},
            told=told,
            row=told.complaint,
            today=today,
            reports=[one for one in clocks if one.name not in RECORDS],
            records=[one for one in clocks if one.name in RECORDS],
            caution=CAUTION,
            facts=[(one, FACTS[one.kind]) for one in facts[:MOST_FACTS]],
            earlier=len(facts[MOST_FACTS:]),
            form=form or FactForm(reader=self.reader, initial=first),
            closing=closing or CloseForm(reader=self.reader, initial=first),
            may_hear=self.actor.may(Verb.HEAR),
            status=status,
        )


def _facts(told: Told) -> tables.Table:
    """All that became known, in the order in which it was written down."""
    columns = [said("Day"), said("What it is"), said("In words"), said("By whom")]
    cells = [
        (one.learned_on, str(FACTS[one.kind]), one.text, one.person.get_username())
        for one in told.facts
    ]
    return tables.Table("complaint", columns, cells)


def _clocks(clocks: Iterable[Clock], reader: Reader) -> tables.Table:
    """What the law asks for, and how its days are counted."""
    columns = [said("What is asked for"), said("By which text"), said("How it is counted")]
    columns += [said("From"), said("By"), said("Done on")]
    cells = [(*_said(one, reader), one.from_on, one.due_on, one.done_on) for one in clocks]
    return tables.Table("asked-for", columns, cells)


def _said(clock: Clock, reader: Reader) -> Iterable[str]:
    return map(reader.say, (clock.asks, clock.clause, clock.counted))
