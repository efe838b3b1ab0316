"""Opening co-ops and makers, and the people in them."""

import threading
import uuid
from collections.abc import Callable
from typing import Any

import pytest
from django.contrib.auth import get_user_model
from django.contrib.auth.models import AbstractBaseUser
from django.db import connection, transaction

from ledger.access import acting_as, set_walls
from ledger.entries import account
from ledger.errors import CurrencyUnknown, Invalid, NotFound, Refusal
from ledger.makers import (
    STANDING,
    actor_for,
    all_coops,
    coop_named,
    open_coop,
    open_maker,
    person_named,
)
from ledger.models import Account, Coop, Maker, Membership

pytestmark = pytest.mark.usefixtures("database")
PASSWORD = "four gallons of glycerin"


@pytest.fixture
def person() -> AbstractBaseUser:
    return get_user_model().objects.create(username=f"person-{uuid.uuid4()}")


@pytest.fixture
def coop(person: AbstractBaseUser) -> Coop:
    return open_coop(name="Tide Makers", currency="EUR", time_zone="UTC", coordinator=person)


def inside(coop: Coop, maker: Maker | None = None) -> None:
    set_walls(coop.id, maker.id if maker else None)


def test_a_co_op_has_a_coordinator_and_a_slug_of_its_own(person: AbstractBaseUser) -> None:
    name = f"Öl & Salz {uuid.uuid4()}"
    first, second = (
        open_coop(name=name, currency="EUR", time_zone="Europe/Vienna", coordinator=person)
        for _ in range(2)
    )
    assert first.slug.startswith("ol-salz-")
    assert second.slug == f"{first.slug}-2"
    assert {(first.id, first.slug), (second.id, second.slug)} <= set(all_coops())
    with transaction.atomic():
        inside(second)
        (member,) = Membership.objects.all()
    assert (member.person_id, member.role, member.maker_id) == (person.pk, "coordinator", None)


def test_where_many_have_one_name_a_slug_is_drawn_by_lot(person: AbstractBaseUser) -> None:
    name = f"Tide {uuid.uuid4()}"
    slugs = [
        open_coop(name=name, currency="EUR", time_zone="UTC", coordinator=person).slug
        for _ in range(11)
    ]
    assert slugs[8] == f"{slugs[0]}-9"
    assert len(slugs[9]) == len(slugs[0]) + len("-12345678")
    assert len(set(slugs)) == 11


def test_a_name_without_letters_still_gets_a_slug(person: AbstractBaseUser) -> None:
    opened = open_coop(name="石鹸", currency="JPY", time_zone="Asia/Tokyo", coordinator=person)
    assert opened.slug.startswith("co-op")


@pytest.mark.parametrize(
    ("change", "refusal"),
    [
        ({"currency": "XAU"}, CurrencyUnknown),
        ({"currency": "usd"}, CurrencyUnknown),
        ({"time_zone": "Mars/Olympus"}, Invalid),
        ({"time_zone": "../etc/passwd"}, Invalid),
        ({"name": "  "}, Invalid),
        ({"name": "x" * 121}, Invalid),
        ({"name": "Bell\a"}, Invalid),
    ],
)
def test_what_a_co_op_cannot_be(
    person: AbstractBaseUser, change: dict[str, str], refusal: type[Refusal]
) -> None:
    before = len(all_coops())
    facts = {"name": "Harbour", "currency": "USD", "time_zone": "UTC", **change}
    with pytest.raises(refusal):
        open_coop(coordinator=person, **facts)
    assert len(all_coops()) == before


def test_a_maker_has_an_owner_and_its_accounts(coop: Coop, person: AbstractBaseUser) -> None:
    maker = open_maker(coop=coop, name="  North   Bench ", owner=person)
    assert (maker.name, maker.mark) == ("North Bench", "NB")
    actor = actor_for(coop, maker.id, person.pk, "owner")
    with acting_as(actor):
        assert Account.objects.count() == len(STANDING)
        store = Account.objects.get(kind=Account.Kind.STORE)
        assert store.id == account(actor, Account.Kind.STORE, "store")
        assert Membership.objects.get(maker=maker).role == "owner"


@pytest.mark.parametrize(
    ("names", "marks"),
    [
        (["North Bench", "Narrow Boat", "Night Bakery"], ["NB", "NBA", "NBB"]),
        (["Old Mill Bench House"], ["OMB"]),
        (["石鹸 7"], ["M"]),
    ],
)
def test_marks_are_initials_made_unlike(
    coop: Coop, person: AbstractBaseUser, names: list[str], marks: list[str]
) -> None:
    found = [open_maker(coop=coop, name=name, owner=person).mark for name in names]
    assert found == marks


@pytest.mark.parametrize("name", ["North Bench", " North  Bench", "", "x" * 121])
def test_a_maker_s_name_is_its_own(coop: Coop, person: AbstractBaseUser, name: str) -> None:
    open_maker(coop=coop, name="North Bench", owner=person)
    with pytest.raises(Invalid):
        open_maker(coop=coop, name=name, owner=person)
    with transaction.atomic():
        inside(coop)
        assert Maker.objects.count() == 1


def test_the_same_name_is_free_in_another_co_op(coop: Coop, person: AbstractBaseUser) -> None:
    other = open_coop(name="Hill", currency="USD", time_zone="UTC", coordinator=person)
    for each in (coop, other):
        assert open_maker(coop=each, name="North Bench", owner=person).mark == "NB"


def test_makers_opened_at_once_get_different_marks(coop: Coop, person: AbstractBaseUser) -> None:
    names = [f"North Bench {letter}" for letter in "ABCDEF"]
    failed: list[BaseException] = []

    def run(name: str) -> None:
        try:
            open_maker(coop=coop, name=name, owner=person)
        except BaseException as error:
            failed.append(error)
        finally:
            connection.close()

    threads = [threading.Thread(target=run, args=(name,)) for name in names]
    _run_all(threads)
    assert failed == []
    with transaction.atomic():
        inside(coop)
        marks = set(Maker.objects.values_list("mark", flat=True))
    assert len(marks) == len(names)


def _run_all(threads: list[threading.Thread]) -> None:
    steps: list[Callable[[threading.Thread], None]] = [
        threading.Thread.start,
        threading.Thread.join,
    ]
    for step in steps:
        for thread in threads:
            step(thread)


def test_a_co_op_is_found_by_its_slug(coop: Coop) -> None:
    with transaction.atomic():
        assert coop_named(coop.slug).id == coop.id
    with pytest.raises(NotFound, match="nowhere"), transaction.atomic():
        coop_named("nowhere")


def test_a_new_person_can_sign_in_and_a_known_one_is_left_alone() -> None:
    name = f"nora-{uuid.uuid4()}"
    made = person_named(name, password=PASSWORD, email="nora@example.org")
    again = person_named(name, password="another long password", email="else@example.org")
    assert made.pk == again.pk
    kept = get_user_model().objects.get(username=name)
    assert kept.check_password(PASSWORD)
    assert kept.email == "nora@example.org"
    assert PASSWORD not in kept.password
    assert person_named(name, password=None).pk == made.pk


@pytest.mark.parametrize(
    ("username", "password", "email", "words"),
    [
        ("nora", None, "", "needs a password"),
        ("nora", "", "", "needs a password"),
        ("nora", "short", "", "too short"),
        ("nora", "password123", "", "too common"),
        ("nora", "7341985202", "", "digits alone"),
        ("nora-of-the-mill", "nora-of-the-mill", "", "too much like"),
        ("nora of the mill", PASSWORD, "", "valid username"),
        ("nora", PASSWORD, "nora at home", "valid email"),
        ("n" * 151, PASSWORD, "", "150"),
    ],
)
def test_who_cannot_be_added(username: str, password: str | None, email: str, words: str) -> None:
    with pytest.raises(Invalid, match=words):
        person_named(username, password=password, email=email)
    assert not get_user_model().objects.filter(username=username).exists()


def test_a_short_name_that_is_given_is_taken_or_refused(person: AbstractBaseUser) -> None:
    about: dict[str, Any] = {
        "name": "Many Makers",
        "currency": "EUR",
        "time_zone": "UTC",
        "coordinator": person,
    }
    short = f"many-{uuid.uuid4().hex[:8]}"
    assert open_coop(short_name=short, **about).slug == short
    with pytest.raises(Invalid, match=f"{short}.*another short name"):
        open_coop(short_name=short, **about)
    with pytest.raises(Invalid, match="small letters"):
        open_coop(short_name="Many Makers", **about)
