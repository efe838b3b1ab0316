"""Opening a co-op and its makers."""

import functools
import itertools
import re
import secrets
import string
import zoneinfo
from collections.abc import Iterator
from typing import Final
from uuid import UUID

from django.contrib.auth import get_user_model
from django.contrib.auth.models import AbstractBaseUser
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.db import IntegrityError, connection, transaction
from django.utils.text import slugify

from ledger.access import Actor, set_walls
from ledger.entries import account
from ledger.errors import (
    Conflict,
    Invalid,
    NotFound,
    Sentence,
)
from ledger.ids import new_id
from ledger.models import Account, Coop, Maker, Membership
from ledger.money import minor_units
from ledger.roles import MAY, Verb

LONGEST_NAME: Final = 120

# As long as the column that keeps it.
MARK_LONGEST = 6

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
    *,
    name: str,
    currency: str,
    time_zone: str,
    coordinator: AbstractBaseUser,
    short_name: str | None = None,
) -> Coop:
    """Open a co-op with its coordinator, under a short name that is free unless one is given.

    Raises Invalid for a short name that is taken or cannot be one, for a name that is empty or too
    long and for an unknown time zone, and CurrencyUnknown.
    """
    minor_units(currency)
    if time_zone not in _time_zones():
        raise Invalid(
            Sentence(
                "{time_zone!r} is not a time zone; write one such as UTC or Europe/Paris.",
                time_zone=time_zone,
            )
        )
    coop = Coop(id=new_id(), name=_clean(name), currency=currency, time_zone=time_zone)
    with transaction.atomic():
        set_walls(coop.id, None)
        if short_name is None:
            _save_with_free_slug(coop)
        else:
            _save_as(coop, short_name)
        Membership.objects.create(
            coop=coop, maker=None, person_id=coordinator.pk, role=Membership.Role.COORDINATOR
        )
    return coop


def open_maker(*, coop: Coop, name: str, owner: AbstractBaseUser) -> Maker:
    """Open a maker with its owner and its standing accounts.

    Raises Invalid for a name in use, empty or too long.
    """
    maker = Maker(id=new_id(), coop=coop, name=_clean(name))
    with transaction.atomic():
        set_walls(coop.id, maker.id)
        # One at a time in a co-op, so that a name or mark found free stays free.
        Coop.objects.select_for_update().get(id=coop.id)
        if Maker.objects.filter(name=maker.name).exists():
            raise Invalid(
                Sentence("The co-op already has a maker named {name!r}.", name=maker.name)
            )
        maker.mark = _free_mark(maker.name)
        maker.save(force_insert=True)
        Membership.objects.create(
            coop=coop, maker=maker, person_id=owner.pk, role=Membership.Role.OWNER
        )
        actor = actor_for(coop, maker.id, owner.pk, Membership.Role.OWNER)
        Account.objects.bulk_create(
            Account(id=account(actor, kind, label), coop=coop, maker=maker, kind=kind, name=label)
            for kind, label in STANDING
        )
    return maker


def set_role(
    *, coop: Coop, maker: str, person: AbstractBaseUser, role: Membership.Role | None
) -> None:
    """Give a person a role in the maker of this name, another one, or (None) take it away.

    It holds from the person's next request on. Raises NotFound, and Conflict for taking the last
    owner from a maker.
    """
    with transaction.atomic():
        set_walls(coop.id, None)
        found = Maker.objects.filter(name=maker).first()
        if found is None:
            raise NotFound(Sentence("The co-op has no maker named {maker!r}.", maker=maker))
        set_walls(coop.id, found.id)
        # One at a time, so that two owners cannot each take the other's role away.
        Maker.objects.select_for_update(no_key=True).get(id=found.id)
        members = Membership.objects.filter(maker=found)
        owners = members.filter(role=Membership.Role.OWNER).exclude(person_id=person.pk)
        if role != Membership.Role.OWNER and not owners.exists():
            raise Conflict(
                Sentence("{maker} needs an owner: give somebody else that role first.", maker=maker)
            )
        members.filter(person_id=person.pk).delete()
        if role is not None:
            Membership.objects.create(coop=coop, maker=found, person_id=person.pk, role=role)


def who_may(actor: Actor, verb: Verb) -> list[str]:
    """The user names of those of the maker whose role may do this, in order."""
    roles = [role for role, verbs in MAY.items() if verb in verbs]
    rows = Membership.objects.filter(maker_id=actor.maker, role__in=roles, person__is_active=True)
    return sorted(rows.values_list("person__username", flat=True))


def all_coops() -> list[tuple[UUID, str]]:
    """The id and slug of every co-op, for whoever works through all of them."""
    with connection.cursor() as cursor:
        cursor.execute("select id, slug from ledger_coops()")
        return list(cursor.fetchall())


def coop_named(slug: str) -> Coop:
    """The co-op with this slug, in the open transaction, whose walls are set to it.

    Raises NotFound.
    """
    for id, known in all_coops():
        if known == slug:
            set_walls(id, None)
            return Coop.objects.get(id=id)
    raise NotFound(
        Sentence(
            "There is no co-op {slug!r}; open_coop prints its short name on its last line.",
            slug=slug,
        )
    )


def person_named(username: str, *, password: str | None, email: str = "") -> AbstractBaseUser:
    """The person who signs in by this name, made if new; a known one keeps password and address.

    Raises Invalid for a new person without a password, or with one that is easily guessed, and
    for a name or address that cannot be one.
    """
    people = get_user_model()
    known = people.objects.filter(username=username).first()
    if known is not None:
        return known
    if not password:
        raise Invalid(Sentence("{username!r} is new and needs a password.", username=username))
    person = people(username=username, email=email)
    try:
        person.set_unusable_password()
        person.full_clean()
        validate_password(password, person)
    except ValidationError as error:
        raise Invalid(
            Sentence("{username!r}: {why}", username=username, why=" ".join(error.messages))
        ) from error
    person.set_password(password)
    person.save(force_insert=True)
    return person


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


def _clean(name: str) -> str:
    clean = " ".join(name.split())
    if not clean or len(clean) > LONGEST_NAME or not clean.isprintable():
        raise Invalid(
            Sentence(
                "A name has one to {longest_name} printable characters.", longest_name=LONGEST_NAME
            )
        )
    return clean


@functools.cache
def _time_zones() -> set[str]:
    """Hundreds of files are read for them."""
    return zoneinfo.available_timezones()


def _slugs(name: str) -> Iterator[str]:
    """Slugs to try for a name: numbered, and drawn by lot where many have the same name."""
    base = slugify(name)[:50] or "co-op"
    yield base
    for number in range(2, 10):
        yield f"{base}-{number}"
    while True:
        yield f"{base}-{secrets.token_hex(4)}"


def short_name_of(name: str) -> str:
    """The short name that a co-op of this name has where nothing else is said."""
    return next(_slugs(name))


def _save_as(coop: Coop, short_name: str) -> None:
    if slugify(short_name)[:50] != short_name:
        raise Invalid("A short name is small letters, digits and hyphens, at most 50 of them.")
    coop.slug = short_name
    if not _saved(coop):
        raise Invalid(
            Sentence(
                "There is a co-op {short_name!r} already: give this one another short name, with"
                " --short-name.",
                short_name=short_name,
            )
        )


def _saved(coop: Coop) -> bool:
    """Whether it could be kept under its slug; False where another has that."""
    try:
        with transaction.atomic():
            coop.save(force_insert=True)
    except IntegrityError as error:
        diagnosis = getattr(error.__cause__, "diag", None)
        if "slug" not in str(getattr(diagnosis, "constraint_name", "")):
            raise
        return False
    return True


def _save_with_free_slug(coop: Coop) -> None:
    """Other co-ops cannot be seen, so a slug is tried rather than looked up."""
    for slug in _slugs(coop.name):
        coop.slug = slug
        if _saved(coop):
            return


def _free_mark(name: str) -> str:
    """The initials that begin the maker's lot codes, with a letter more where they are taken.

    Letters only: the digits that follow are the lot's, and "NB2" and "1" must not meet "NB" and
    "21".
    """
    initials = "".join(word[0] for word in re.findall(r"[A-Za-z]+", name)).upper()[:3] or "M"
    taken = set(Maker.objects.values_list("mark", flat=True))
    endings = (
        "".join(letters)
        for length in range(MARK_LONGEST - len(initials) + 1)
        for letters in itertools.product(string.ascii_uppercase, repeat=length)
    )
    return next(initials + ending for ending in endings if initials + ending not in taken)
