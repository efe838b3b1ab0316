"""What a form says by itself is said in the pages' own words, and not in those of a framework."""

import importlib
import pkgutil
from collections.abc import Iterator

import pytest
from django import forms
from django.core.validators import MaxLengthValidator, MaxValueValidator, MinValueValidator

import api.pages
from api.pages.forms import NumberField, PageForm, WholeField
from api.pages.reader import Reader

# It needs no other words.
PLAIN = {"required"}


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
        assert set(same) <= PLAIN, (name, type(field), same)
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
