"""Drums drawn off into lots of their own, and the deposits that suppliers hold for them."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, ClassVar
from uuid import UUID

from django import forms
from django.db.models.functions import Lower
from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as said
from django.utils.translation import gettext_lazy as _

from api.pages.forms import (
    LONG,
    Button,
    MoneyField,
    PageForm,
    QuantityField,
    Rows,
    SureField,
    shown_again,
    unsure,
)
from api.pages.screen import Screen
from api.pages.workings import ZERO, Line
from ledger import decanting, deposits
from ledger.access import day_of, suppliers_visible_to
from ledger.errors import Refusal
from ledger.lot_reading import show_lot
from ledger.models import Decanting, DecantingDraw
from ledger.quantities import kept_in
from ledger.roles import Verb
from ledger.transferring import makers_of_coop

MOST, MOST_BEFORE, MOST_MAKERS, MOST_SUPPLIERS = 60, 20, 200, 200
# Of a drum less than a tenth stays behind, and mostly far less: 1 to 3 percent.
MUCH_LEFT = 10
# How many rows there are to begin with.
EMPTY = {"draws": "3", "paid": "2"}


class DrawForm(PageForm):
    net = QuantityField(label=_("Drawn off, net"), required=False, help_text=_("Such as 24.5 kg"))
    gross = QuantityField(label=_("Or gross"), required=False)
    tare = QuantityField(label=_("less tare"), required=False)
    maker = forms.ChoiceField(label=_("For whom"), required=False)


class PaidForm(PageForm):
    maker = forms.ChoiceField(label=_("Who paid"))
    amount = MoneyField(label=_("How much"))
    note = forms.CharField(
        label=_("What for"), max_length=LONG, help_text=_("Such as: freight, to the carrier")
    )


class DrumForm(PageForm):
    emptied = forms.BooleanField(
        label=_("It is empty now: what is left is the heel, and all share its cost"),
        required=False,
        initial=True,
    )
    note = forms.CharField(label=_("Note"), max_length=LONG, required=False)
    sure = SureField()


@dataclass(slots=True)
class Forms:
    """The drum, its draws, and what others paid of its cost, sent as one."""

    drum: PageForm
    draws: Rows
    paid: Rows

    def is_valid(self) -> bool:
        return all([self.drum.is_valid(), self.draws.is_valid(), self.paid.is_valid()])

    def refuse(self, refusal: Refusal) -> None:
        if not self.draws.refuse(refusal) and not self.paid.refuse(refusal):
            self.drum.refuse(refusal)


class Decant(Screen):
    """Drawing a lot off: each draw becomes a lot, for oneself or offered to another maker."""

    template = "pages/decant.html"

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        self.actor.must(Verb.RECEIVE)
        return self._page(id, self._forms(DrumForm(reader=self.reader), EMPTY, judged=False))

    def post(self, request: HttpRequest, id: UUID) -> HttpResponse:
        data = request.POST
        if data.get("do") == "more":
            drum = shown_again(DrumForm, data, reader=self.reader)
            return self._page(id, self._forms(drum, data, judged=False, more=1))
        forms = self._forms(DrumForm(data, reader=self.reader), data, judged=True)
        return self.act(
            forms,
            lambda: self._decant(id, forms),
            lambda made: f"/decantings/{made.decanting.id}",
            lambda: self._page(id, forms, status=422),
        )

    def _decant(self, id: UUID, forms: Forms) -> decanting.Decanted:
        drawn = []
        for form in forms.draws.filled:
            typed = form.cleaned_data
            drawn.append(decanting.Drawn(**{**typed, "maker": typed["maker"] or None}))
        about = dict(forms.drum.cleaned_data)
        sure = about.pop("sure")
        made = decanting.decant(
            self.actor,
            lot=id,
            draws=drawn,
            paid=[decanting.PaidByOther(**form.cleaned_data) for form in forms.paid.filled],
            happened_at=self.now,
            **about,
        )
        if not sure:
            self._ask(made.decanting)
        return made

    def _ask(self, made: Decanting) -> None:
        """Raises Invalid, once, for a heel that is mostly a drum which is not empty."""
        if made.heel * MUCH_LEFT > made.drawn + made.heel:
            told = said("%(heel)s would be written off as what cannot be poured out.")
            counted = made.lot.material.counted
            raise unsure(told % {"heel": self.reader.quantity(made.heel, counted)})

    def _forms(self, drum: PageForm, data: Any, *, judged: bool, more: int = 0) -> Forms:
        how: dict[str, Any] = {"reader": self.reader, "judged": judged}
        draws = Rows(DrawForm, "draws", data, more=more, **how)
        paid = Rows(PaidForm, "paid", data, optional=True, **how)
        makers = makers_of_coop(self.actor).exclude(id=self.actor.maker).order_by("name")
        known = [(str(id), name) for id, name in makers.values_list("id", "name")[:MOST_MAKERS]]
        for form in draws.forms:
            form.offer("maker", [("", _("for me")), *known])
        for form in paid.forms:
            form.offer("maker", known)
        return Forms(drum, draws, paid)

    def _page(self, id: UUID, forms: Forms, *, status: int = 200) -> HttpResponse:
        lot = show_lot(self.actor, id)
        before = decanting.decantings_of(self.actor, id).order_by("-id")
        return self.show(
            lot=lot,
            before=before[:MOST_BEFORE],
            form=forms.drum,
            draws=forms.draws,
            paid=forms.paid,
            may_settle=self.actor.may(Verb.SETTLE),
            status=status,
        )


class Decanted(Screen):
    """What was drawn, the lots that it became, and each one's share of the cost."""

    template = "pages/decanted.html"

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        found = decanting.decanting_for(self.actor, id)
        draws, may_see_costs = decanting.draws_of(found), self.actor.may(Verb.SEE_COSTS)
        told = [*self._told(found, draws), *(self._cost(found, draws) if may_see_costs else [])]
        return self.show(found=found, draws=draws, may_see_costs=may_see_costs, told=told)

    def _told(self, found: Decanting, draws: Sequence[DecantingDraw]) -> Iterable[Line]:
        """What was drawn, and the heel that stayed behind of all that there was."""
        unit = kept_in(found.lot.material.counted)
        lines = [Line(one.lot.code, one.quantity, unit) for one in draws]
        yield Line(said("Drawn"), found.drawn, unit, parts=tuple(lines))
        if found.heel:
            left = Line(said("was left in the lot"), found.drawn + found.heel, unit)
            less = Line(said("less what was drawn"), -found.drawn, unit)
            yield Line(said("Heel"), found.heel, unit, parts=(left, less))

    def _cost(self, found: Decanting, draws: Sequence[DecantingDraw]) -> Iterable[Line]:
        money, kept = self.actor.currency, kept_in(found.lot.material.counted)
        of = f"{self.reader.number(found.drawn)} {kept}"
        lines = [
            Line(one.lot.code, one.share, money, how=f"{self.reader.number(one.quantity)} / {of}")
            for one in draws
        ]
        # A share is paid in coins; the books keep the rest with the largest.
        rest = found.cost - sum((one.share for one in draws), ZERO)
        if rest:
            lines.append(Line(said("cut off or added to make whole coins"), rest, money))
        yield Line(said("Cost of it all"), found.cost, money, parts=tuple(lines))


class DepositForm(PageForm):
    called: ClassVar = {"/happened_at": "amount"}
    supplier = forms.ChoiceField(label=_("Who holds it"))
    amount = MoneyField(label=_("How much"))
    note = forms.CharField(
        label=_("What for"), max_length=LONG, required=False, help_text=_("Such as: blue drum")
    )


class Deposits(Screen):
    """What suppliers hold for drums and crates, for how long, and that it came back."""

    template = "pages/deposits.html"

    def get(self, request: HttpRequest) -> HttpResponse:
        return self._page()

    def post(self, request: HttpRequest) -> HttpResponse:
        if request.POST.get("do") == "back":
            button = Button(request.POST, reader=self.reader)
            return self.act(
                button,
                lambda: deposits.return_deposit(
                    self.actor, deposit=request.POST.get("deposit", ""), happened_at=self.now
                ),
                lambda made: "/deposits",
                lambda: self._page(pressed=button, status=422),
            )
        form = self._form(request.POST)
        return self.act(
            form,
            lambda: deposits.pay_deposit(self.actor, happened_at=self.now, **form.cleaned_data),
            lambda made: "/deposits",
            lambda: self._page(form=form, status=422),
        )

    def _form(self, data: Any = None) -> DepositForm:
        form = DepositForm(data, reader=self.reader)
        known = suppliers_visible_to(self.actor).order_by(Lower("name")).values_list("id", "name")
        choices = [(str(id), name) for id, name in known[:MOST_SUPPLIERS]]
        form.offer("supplier", choices)
        return form

    def _page(
        self, *, form: PageForm | None = None, pressed: PageForm | None = None, status: int = 200
    ) -> HttpResponse:
        today = day_of(self.actor, self.now)
        rows = deposits.deposits_of(self.actor).order_by("-id")[:MOST]
        may_pay = self.actor.may(Verb.BILL)
        return self.show(
            deposits=[(row, deposits.days_out(self.actor, row, today)) for row in rows],
            form=(form or self._form()) if may_pay else None,
            pressed=pressed,
            status=status,
        )
