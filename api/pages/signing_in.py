"""Signing in and out, choosing for which maker to work, and how pages are shown."""

from typing import Any

from django import forms
from django.conf import settings
from django.db import transaction
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.middleware.csrf import rotate_token
from django.utils.http import url_has_allowed_host_and_scheme
from django.utils.translation import gettext_lazy as _

from api import preferences, rate, signing
from api.errors import NotSignedIn
from api.models import Preference
from api.pages.forms import PageForm
from api.pages.reader import WRITTEN, reader_of
from api.pages.screen import MAKER, SESSION, Screen
from ledger.access import set_walls
from ledger.errors import Refusal


class SignInForm(PageForm):
    username = forms.CharField(
        label=_("User name"),
        max_length=150,
        widget=forms.TextInput(attrs={"autocomplete": "username", "autocapitalize": "none"}),
    )
    password = forms.CharField(
        label=_("Password"),
        max_length=200,
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
    )
    coop = forms.CharField(
        label=_("Co-op"),
        max_length=60,
        required=False,
        help_text=_("Only if you belong to several: its short name."),
    )


class SignIn(Screen):
    """Who signs in has no walls yet."""

    template = "pages/sign_in.html"
    keeps = False

    def answered(self, request: HttpRequest, *args: Any, **path: Any) -> HttpResponseBase:
        rate.check_address(request)
        self.reader = reader_of(request, None, None)
        return (self.post if request.method == "POST" else self.get)(request)

    def get(self, request: HttpRequest) -> HttpResponse:
        return self._form(SignInForm(reader=self.reader))

    def post(self, request: HttpRequest) -> HttpResponse:
        form = SignInForm(request.POST, reader=self.reader)
        if not form.is_valid():
            return self._form(form, 422)
        typed = form.cleaned_data
        try:
            token, _until, places = signing.sign_in(
                request,
                username=typed["username"],
                password=typed["password"],
                coop=typed["coop"] or None,
                read_only=False,
            )
        except Refusal as refusal:
            form.refuse(refusal)
            return self._form(form, 422, several=refusal.pointer == "/coop")
        rotate_token(request)
        makers = [place for place in places if place.maker_id]
        response = self.onwards("/makers" if len(makers) > 1 else _back_to(request))
        _remember(response, SESSION, token)
        response.delete_cookie(MAKER)
        return response

    def _form(self, form: SignInForm, status: int = 200, several: bool = False) -> HttpResponse:
        return self.show(form=form, several=several, status=status)


class SignOut(Screen):
    """The token is worth nothing from then on."""

    def answered(self, request: HttpRequest, *args: Any, **path: Any) -> HttpResponseBase:
        """Whoever has chosen no maker yet can leave, too; an address alone signs nobody out."""
        if request.method != "POST":
            return self.onwards("/")
        token = request.COOKIES.get(SESSION, "")
        with transaction.atomic(durable=True):
            person = preferences.person_of(token)
            if person is not None:
                set_walls(person.coop, None)
                signing.end(token)
        response = self.onwards("/sign-in")
        response.delete_cookie(SESSION)
        response.delete_cookie(MAKER)
        return response


class Makers(Screen):
    """For which maker to work, for whoever belongs to several."""

    template = "pages/makers.html"

    def answered(self, request: HttpRequest, *args: Any, **path: Any) -> HttpResponseBase:
        """No maker is chosen yet, so nobody acts: all that is known is the person."""
        token = request.COOKIES.get(SESSION, "")
        rate.check_token(request, token)
        with transaction.atomic(durable=True):
            person = preferences.person_of(token)
        if person is None:
            raise NotSignedIn
        self.reader = reader_of(request, person, None)
        wanted = request.POST.get("maker", "")
        if request.method != "POST" or wanted not in {str(seat.maker) for seat in person.seats}:
            return self.show(seats=person.seats)
        response = self.onwards("/")
        _remember(response, MAKER, wanted)
        return response


class LookForm(PageForm):
    units = forms.ChoiceField(
        label=_("Weights are shown in"),
        required=False,
        choices=[("", _("grams and kilograms")), ("us", _("pounds and ounces"))],
        widget=forms.RadioSelect,
    )
    numbers = forms.ChoiceField(
        label=_("Numbers are written"),
        required=False,
        choices=[("", _("as this browser does")), *((tag, how) for tag, how in WRITTEN.items())],
        widget=forms.RadioSelect,
    )
    theme = forms.ChoiceField(
        label=_("Pages are"),
        required=False,
        choices=[
            ("", _("as this device is set")),
            (Preference.Theme.LIGHT, _("light")),
            (Preference.Theme.DARK, _("dark")),
        ],
        widget=forms.RadioSelect,
    )


class Look(Screen):
    """How pages are shown to this person; nothing that is stored changes."""

    template = "pages/look.html"

    def get(self, request: HttpRequest) -> HttpResponse:
        person = self.reader.person
        chosen = {name: getattr(person, name) for name in ("units", "numbers", "theme")}
        return self.show(form=LookForm(reader=self.reader, initial=chosen))

    def post(self, request: HttpRequest) -> HttpResponse:
        form = LookForm(request.POST, reader=self.reader)
        return self.act(
            form,
            lambda: preferences.set_preferences(self.actor, **form.cleaned_data),
            lambda done: "/look",
            lambda: self.show(form=form, status=422),
        )


def _back_to(request: HttpRequest) -> str:
    """The page that was asked for before signing in, if it is one of ours."""
    wanted = request.GET.get("next", "")
    return wanted if url_has_allowed_host_and_scheme(wanted, allowed_hosts=None) else "/"


def _remember(response: HttpResponse, name: str, value: str) -> None:
    response.set_cookie(
        name,
        value,
        max_age=signing.LIFETIME,
        secure=settings.SESSION_COOKIE_SECURE,
        httponly=True,
        samesite="Lax",
    )
