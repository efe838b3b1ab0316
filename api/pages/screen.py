"""What every screen shares: one transaction inside the walls, the form's own key, page or fragment.

    class Receive(Screen):
        template = "pages/receive.html"

        def get(self, request):
            return self.show(form=self.blank())

        def post(self, request):
            form = ReceiveForm(request.POST, reader=self.reader)
            return self.act(form, lambda: receive(self.actor, …), lambda made: f"/lots/{made.id}")

Signing in is by the same hashed tokens as in the API, in a cookie that no script can read.
"""

import hashlib
import uuid
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, ClassVar, Protocol
from urllib.parse import urlencode

from django.conf import settings
from django.db import transaction
from django.db.utils import InterfaceError, OperationalError
from django.http import HttpRequest, HttpResponse, HttpResponseBase, HttpResponseRedirect
from django.template.loader import render_to_string
from django.utils import timezone, translation
from django.utils.decorators import method_decorator
from django.utils.translation import gettext as said
from django.views import View
from django.views.decorators.csrf import csrf_protect

from api import errors, preferences, rate, signing
from api.idempotency import Answered, Key
from api.pages import kept, tables
from api.pages.folds import unfolded
from api.pages.forms import ASKED
from api.pages.in_the_way import with_a_way_on
from api.pages.places import belongs_to, places_for
from api.pages.reader import Reader, reader_of
from api.pages.unkept import Unkept
from api.reading import fingerprint
from api.sheets import html
from api.sheets.blocks import Sheet
from ledger import outbox
from ledger.access import Actor
from ledger.entries import explained
from ledger.errors import Conflict, Refusal

SESSION, MAKER = settings.SESSION_COOKIE_NAME, settings.MAKER_COOKIE_NAME
# What a form sends beside what was typed; and passwords, of which no quick digest may be kept.
UNTYPED = {"csrfmiddlewaretoken", "form_key", "old", "password", "again", *kept.NAMES}


class Judged(Protocol):
    """A form, or several that are sent as one."""

    def is_valid(self) -> bool: ...

    def refuse(self, refusal: Refusal, /) -> None: ...


@dataclass(frozen=True, slots=True)
class Once:
    """What is shown in the answer itself and never again: a retry of the form goes to `to`."""

    to: str
    show: Callable[[], HttpResponse]


class Screen(View):
    """One screen. `fragment` is what htmx gets instead of the page, if there is one."""

    template: ClassVar[str]
    fragment: ClassVar[str] = ""
    actor: Actor
    reader: Reader = Reader()
    now: datetime
    key: Key | None = None
    # Whether the body is left where it is, being too large; and whether it was done.
    unread = done = False
    # Why nothing was done, for a page that does not show the form any more.
    why: str = ""
    # Whether that is a question, which the form asks once; and whether its forms keep anything.
    asks = False
    keeps: ClassVar[bool] = True

    def dispatch(self, request: HttpRequest, *args: Any, **path: Any) -> HttpResponseBase:
        """The page in its reader's language, if there is a catalogue of it."""
        with translation.override(translation.get_language_from_request(request)):
            return self._in_language(request, *args, **path)

    def _in_language(self, request: HttpRequest, *args: Any, **path: Any) -> HttpResponseBase:
        self.now = timezone.now()
        _leave_out_nothing(request)
        if int(request.META.get("CONTENT_LENGTH") or 0) > settings.LARGEST_READ:
            self.unread = True
            return self.refused(errors.file_too_large(), template="pages/too_large.html")
        response = self._protected(request, *args, **path)
        # What a maker has must not lie in a cache that others share, nor be seen after signing out.
        response.headers.setdefault("Cache-Control", "no-store")
        return response

    @method_decorator(csrf_protect)
    def _protected(self, request: HttpRequest, *args: Any, **path: Any) -> HttpResponseBase:
        try:
            return self.answered(request, *args, **path)
        except Answered as earlier:
            return self.onwards(earlier.headers["Location"])
        except (errors.KeyReused, errors.KeyInFlight) as refusal:
            return self.refused(refusal, template="pages/sent_before.html")
        except Refusal as refusal:
            return self.refused(refusal)
        except (OperationalError, InterfaceError):
            return self.refused(errors.Unavailable(), **errors.UNAVAILABLE_HEADERS)

    def answered(self, request: HttpRequest, *args: Any, **path: Any) -> HttpResponseBase:
        """The answer, made within the one transaction; a refusal leaves nothing behind."""
        token = request.COOKIES.get(SESSION, "")
        rate.check_token(request, token)
        with transaction.atomic(durable=True):
            self.begin()
            person = preferences.person_of(token) if token else None
            self.reader = reader_of(request, person, None)
            self.key = self._key_of(request)
            self.actor = self._opened(request, token, person)
            self.reader = reader_of(request, person, self.actor)
            self._must_be_theirs(request)
            response = super().dispatch(request, *args, **path)
            if response.status_code >= 400:
                transaction.set_rollback(True)
        return response

    def begin(self) -> None:
        """What must be said before a transaction asks its first question; mostly nothing."""

    def _opened(self, request: HttpRequest, token: str, person: preferences.Person | None) -> Actor:
        """Who acts. An unknown token counts against the address, since it can be made up."""
        try:
            return signing.opened(token, _maker(request, person), self.key)
        except errors.NotSignedIn:
            if token:
                rate.count_refused(request)
            raise

    def _must_be_theirs(self, request: HttpRequest) -> None:
        """Raises Conflict for what a device kept of somebody else."""
        if request.POST.get("whose", self.reader.mark) != self.reader.mark:
            raise Conflict(said("Somebody else typed this; it waits until they sign in again."))

    @property
    def done_at(self) -> datetime:
        """When what a form says was done: now, or as long ago as the device kept it."""
        return kept.done_at(self.request.POST.get("ago", ""), self.now)

    @property
    def sought(self) -> str:
        """What somebody looks for, as the address says it."""
        return self.request.GET.get("q", "").strip()[:100]

    def show(
        self, *, status: int = 200, files: tables.Files | None = None, **facts: Any
    ) -> HttpResponse:
        """The page with these facts, or its fragment where htmx asks for one.

        Where one of the `files` is asked for, by the name of its table, that instead.
        """
        part = self.fragment if self.request.headers.get("HX-Request") else ""
        return self.filed(files or {}) or self.render(part or self.template, facts, status)

    def filed(self, files: tables.Files) -> HttpResponse | None:
        """The table that is asked for as a file, by its name; None where none is."""
        kind, make = tables.asked(self.request), files.get(tables.which(self.request))
        return tables.file(kind, make()) if kind and make is not None else None

    def printed(self, sheet: Sheet) -> HttpResponse:
        """A sheet to print, under the policy of its own styles."""
        return HttpResponse(html.render(sheet), headers={"Content-Security-Policy": html.policy()})

    def render(self, template: str, facts: Mapping[str, Any], status: int = 200) -> HttpResponse:
        """A template with what the frame of every page needs."""
        places = places_for(getattr(self, "actor", None))
        frame = {
            "reader": self.reader,
            "places": places,
            "within": belongs_to(self.request.path, places),
            "here": self.request.path,
            "as_file": tables.query_of(self.request),
            "form_key": self._form_key(),
            "actor": getattr(self, "actor", None),
            "unkept": self._unkept(facts, status),
            # No browser keeps a chosen file for a form that is shown again.
            "lost": frozenset() if self.unread else frozenset(self.request.FILES),
        }
        page = render_to_string(template, {**frame, **facts}, self.request)
        return HttpResponse(unfolded(page), status=status)

    def _unkept(self, facts: Mapping[str, Any], status: int) -> Unkept | None:
        """What takes note of what is wrong with a form; of one still being typed, nothing does."""
        whole = "refusal" not in facts and not self.request.headers.get("HX-Request")
        if status != 422 or not whole:
            return None
        keeps = self.keeps and self.request.method == "POST"
        return Unkept(why=self.why, asks=self.asks, keeps=keeps)

    def act(
        self,
        form: Judged,
        do: Callable[[], Any],
        then: Callable[[Any], str | Once],
        again: Callable[[], HttpResponse],
    ) -> HttpResponse:
        """Do what a valid form says, once for its key, and go to `then`; else show it `again`."""
        if self.key is None:
            raise errors.BadRequest
        if not form.is_valid():
            return again()
        try:
            with transaction.atomic(), explained():
                done = do()
        except Refusal as refusal:
            told = with_a_way_on(refusal, self.actor, self.reader, self.request.path)
            form.refuse(told)
            self.why, self.asks = told.detail, refusal.pointer == ASKED
            return again()
        return self.go(then(done))

    def go(self, to: str | Once) -> HttpResponse:
        """On to another page after something was done; kept for a retry of the same form."""
        address = to.to if isinstance(to, Once) else to
        if self.key is not None:
            self.key.keep_as(self.actor, 303, "", {"Location": address})
        transaction.on_commit(outbox.hint)
        self.done = True
        return to.show() if isinstance(to, Once) else self.onwards(address)

    def onwards(self, to: str) -> HttpResponse:
        """To another page, also from within a fragment."""
        if self.request.headers.get("HX-Request"):
            return HttpResponse(headers={"HX-Redirect": to})
        return HttpResponseRedirect(to, status=303)

    def anew(self) -> HttpResponse:
        """The whole page once more, for a part of it that waited until its work was done."""
        return HttpResponse(headers={"HX-Refresh": "true"})

    def refused(
        self, refusal: Refusal, template: str = "pages/refused.html", **headers: str
    ) -> HttpResponse:
        """What there is to see instead of the page."""
        if isinstance(refusal, errors.NotSignedIn):
            response = self.onwards(_sign_in_then(self.request))
            response.delete_cookie(SESSION)
            return response
        if isinstance(refusal, errors.MakerNeeded):
            return self.onwards("/makers")
        status = errors.status_of(refusal)
        headers = {**getattr(refusal, "headers", {}), **headers}
        response = self.render(template, {"refusal": refusal}, status)
        for name, value in headers.items():
            response[name] = value
        return response

    def _key_of(self, request: HttpRequest) -> Key | None:
        """The form's own key, with what was typed; looking at what it would do needs none."""
        text = request.POST.get("form_key", "") if request.method == "POST" else ""
        if not text or request.POST.get("do") == "look":
            return None
        typed = {name: request.POST.getlist(name) for name in request.POST if name not in UNTYPED}
        for name in request.FILES:
            for file in request.FILES.getlist(name):
                typed[name] = [str(file), hashlib.sha256(file.read()).hexdigest()]
                file.seek(0)
        said = fingerprint("POST", request.path, request.META.get("QUERY_STRING", ""), typed)
        return Key(f"form {text[:200]}", said)

    def _form_key(self) -> str:
        """A form that was refused keeps its key: nothing was done under it.

        What is shown once something was done has forms as well, and they are other acts.
        """
        sent = "" if self.unread or self.done else self.request.POST.get("form_key")
        return str(sent or uuid.uuid4().hex)


def _leave_out_nothing(request: HttpRequest) -> None:
    """Of what an address asks for: no name has a character of nothing, and the database refuses
    it."""
    asked = request.GET.copy()
    for name, values in request.GET.lists():
        asked.setlist(name, [value.replace("\x00", "") for value in values])
    request.GET = asked  # type: ignore[assignment]


def _maker(request: HttpRequest, person: preferences.Person | None) -> str:
    """The maker that was chosen, if the person still belongs to it."""
    chosen = request.COOKIES.get(MAKER, "")
    seats = person.seats if person else ()
    return chosen if chosen in {str(seat.maker) for seat in seats} else ""


def _sign_in_then(request: HttpRequest) -> str:
    """Where to sign in, and then back to what was asked for."""
    wanted = request.get_full_path() if request.method == "GET" else "/"
    if request.headers.get("HX-Request"):
        wanted = "/"
    return "/sign-in" if wanted == "/" else f"/sign-in?{urlencode({'next': wanted})}"
