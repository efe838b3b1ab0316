"""Opening a co-op and its makers."""

import itertools
import re
import zoneinfo
from uuid import UUID

from django.contrib.auth import get_user_model
from django.contrib.auth.models import AbstractBaseUser
from django.db import IntegrityError, transaction
from django.utils.text import slugify

from ledger.access import Actor, set_walls
from ledger.entries import account
from ledger.errors import Invalid
from ledger.ids import new_id
from ledger.models import Account, Coop, Maker, Membership
from ledger.money import minor_units

# The accounts that every maker has from the first day, by kind and name.
STANDING = (
    (Account.Kind.STORE, "store"),
    (Account.Kind.SOURCE, "drawn from the tap"),
    (Account.Kind.OPENING, "opening stock"),
    (Account.Kind.MAKING, "making"),
    (Account.Kind.LABOUR, "labour absorbed"),
    (Account.Kind.OVERHEAD, "overhead absorbed"),
    (Account.Kind.SALES, "cost of goods sold"),
    (Account.Kind.ISSUE, "sample"),
    (Account.Kind.ISSUE, "tester"),
    (Account.Kind.ISSUE, "gift"),
    (Account.Kind.LOSS, "write-off"),
    (Account.Kind.LOSS, "spill"),
    (Account.Kind.LOSS, "abnormal loss"),
    (Account.Kind.COST_DIFFERENCE, "cost difference"),
)


def open_coop(
    *, name: str, currency: str, time_zone: str, coordinator: AbstractBaseUser
) -> Coop:
    """Open a co-op with its coordinator. Raises Invalid for an unknown currency or time zone."""
    minor_units(currency)
    if time_zone not in zoneinfo.available_timezones():
        raise Invalid(f"{time_zone!r} is not a time zone; write one such as UTC or Europe/Paris.")
    coop = Coop(id=new_id(), name=name, currency=currency, time_zone=time_zone)
    with transaction.atomic():
        set_walls(coop.id, None)
        _save_with_free_slug(coop)
        Membership.objects.create(
            coop=coop, maker=None, person_id=coordinator.pk, role=Membership.Role.COORDINATOR
        )
    return coop


def open_maker(*, coop: Coop, name: str, owner: AbstractBaseUser) -> Maker:
    """Open a maker with its owner and its standing accounts. Raises Invalid for a name in use."""
    maker = Maker(id=new_id(), coop=coop, name=name)
    with transaction.atomic():
        set_walls(coop.id, maker.id)
        if Maker.objects.filter(name=name).exists():
            raise Invalid(f"The co-op already has a maker named {name!r}.")
        maker.mark = _free_mark(name)
        maker.save(force_insert=True)
        Membership.objects.create(
            coop=coop, maker=maker, person_id=owner.pk, role=Membership.Role.OWNER
        )
        actor = actor_for(coop, maker.id, owner.pk, Membership.Role.OWNER)
        Account.objects.bulk_create(
            Account(
                id=account(actor, kind, name), coop=coop, maker=maker, kind=kind, name=name
            )
            for kind, name in STANDING
        )
    return maker


def actor_for(coop: Coop, maker_id: UUID | None, person_id: int, role: str) -> Actor:
    """Someone who acts in a co-op that is at hand."""
    return Actor(
        person_id=person_id,
        coop_id=coop.id,
        maker_id=maker_id,
        role=role,
        currency=coop.currency,
        time_zone=coop.time_zone,
    )


def _save_with_free_slug(coop: Coop) -> None:
    """Other co-ops cannot be seen, so a slug is tried rather than looked up."""
    base = slugify(coop.name)[:50] or "co-op"
    for attempt in itertools.count(1):
        coop.slug = base if attempt == 1 else f"{base}-{attempt}"
        try:
            with transaction.atomic():
                coop.save(force_insert=True)
        except IntegrityError:
            continue
        return


def _free_mark(name: str) -> str:
    """The initials that begin the maker's lot codes, with a number where they are taken."""
    initials = "".join(word[0] for word in re.findall(r"[A-Za-z]+", name)).upper()[:3] or "M"
    taken = set(Maker.objects.values_list("mark", flat=True))
    candidates = itertools.chain([initials], (f"{initials}{n}" for n in itertools.count(2)))
    return next(mark for mark in candidates if mark not in taken)
