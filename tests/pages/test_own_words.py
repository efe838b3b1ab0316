"""What a form says by itself is said in the pages' own words, and not in those of a framework."""

import importlib
import pkgutil
from collections.abc import Iterator
from typing import Any

import pytest
from django import forms
from django.contrib.auth.models import User
from django.contrib.auth.password_validation import (
    get_default_password_validators,
    password_validators_help_texts,
    validate_password,
)
from django.core.validators import MaxLengthValidator, MaxValueValidator, MinValueValidator
from django.test import Client

import api.pages
from api.pages.forms import NumberField, PageForm, WholeField
from api.pages.reader import Reader
from tests.pages.browsing import shown


def forms_of_pages(kind: type[PageForm] = PageForm) -> Iterator[type[PageForm]]:
    """Every form of the pages."""
    for name in pkgutil.iter_modules(api.pages.__path__):
        importlib.import_module(f"api.pages.{name.name}")
    for one in kind.__subclasses__():
        yield one
        yield from forms_of_pages(one)


def framework(kind: type[forms.Field]) -> dict[str, object]:
    found: dict[str, object] = {}
    for one in reversed(kind.mro()):
        found |= getattr(one, "default_error_messages", {})
    return found


def every_field() -> dict[str, forms.Field]:
    """All fields of all forms, as a form has them."""
    made: dict[str, forms.Field] = {}
    for number, form in enumerate(dict.fromkeys(forms_of_pages())):
        made |= {f"{number}-{name}": field for name, field in form.base_fields.items()}
    every = type("Every", (PageForm,), made)
    return dict(every(reader=Reader()).fields)


def test_no_form_speaks_as_a_framework_does() -> None:
    fields = every_field()
    assert len(fields) > 300
    for name, field in fields.items():
        defaults = framework(type(field))
        same = [code for code, text in field.error_messages.items() if text is defaults.get(code)]
        assert not same, (name, type(field), same)
        for judge in field.validators:
            if isinstance(judge, MinValueValidator | MaxValueValidator | MaxLengthValidator):
                assert not str(judge.message).startswith("Ensure"), (name, str(judge.message))


@pytest.mark.parametrize(
    ("look", "typed", "words"),
    [
        ("en", "1,5", "comma in it: write decimals after a point"),
        ("en", "1.2.3", "more than one point"),
        ("de", "1.2.3", "point in it: write decimals after a comma"),
        ("de", "1,2,3", "more than one comma"),
        ("en", "-3", "Less than nothing"),
        ("de", "-3,5", "Less than nothing"),
        ("en", "1234567890123", "more than any figure"),
        ("en", "0.1234567890123", "finer than any figure"),
        ("en", "a few", "such as 12.5"),
        ("fr", "a few", "such as 12,5"),
    ],
)
def test_a_number_that_is_none_hears_why(look: str, typed: str, words: str) -> None:
    field = NumberField()
    field.reader = Reader(look)
    with pytest.raises(forms.ValidationError, match=words):
        field.clean(typed)


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ("2.5", "no comma and no point"),
        ("1,5", "no comma and no point"),
        ("-4", "Write 1 or more"),
        ("a few", "such as 12"),
        ("9" * 40, "9 digits at most"),
        ("200", "Write 100 or less"),
    ],
)
def test_a_whole_number_that_is_none_hears_why(typed: str, words: str) -> None:
    with pytest.raises(forms.ValidationError, match=words):
        WholeField(min_value=1, max_value=100).clean(typed)


@pytest.mark.parametrize(
    ("password", "words"),
    [
        ("dora.mills", "too much like your name"),
        ("a kettle", "too short: write 10 characters or more"),
        ("password12", "too common"),
        ("7341985202", "digits alone"),
    ],
)
def test_a_password_that_is_easily_guessed_hears_why(password: str, words: str) -> None:
    with pytest.raises(forms.ValidationError, match=words):
        validate_password(password, User(username="dora.mills"))


def test_the_rules_of_passwords_are_told_beforehand() -> None:
    told = password_validators_help_texts()
    assert len(told) == len(get_default_password_validators()) == 4
    assert not [one for one in told if "Your password" in one]
    assert "10 characters or more." in told


def test_what_is_no_page_is_told_in_a_page(database: Any, redis_server: Any) -> None:
    """An address that leads nowhere, a form from elsewhere, and one that cannot be read."""
    person = Client(enforce_csrf_checks=True, SERVER_NAME="localhost", HTTP_ACCEPT="text/html")
    lost = person.get("/nowhere")
    assert (lost.status_code, "nothing at this address" in shown(lost)) == (404, True)
    elsewhere = person.post("/sign-in", {"username": "dora"})
    assert (elsewhere.status_code, "from its own page" in shown(elsewhere)) == (403, True)
    many = Client(SERVER_NAME="localhost", HTTP_ACCEPT="text/html").post(
        "/sign-in", {f"field-{number}": "" for number in range(2000)}
    )
    assert (many.status_code, "cannot be read" in shown(many)) == (400, True)
    assert person.get("/sign-out")["Location"] == "/", "whoever types it stays signed in"
    program = Client(SERVER_NAME="localhost").get("/nowhere")
    assert program["Content-Type"] == "application/problem+json"
