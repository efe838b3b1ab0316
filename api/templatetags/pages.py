"""How figures, fields and addresses are written in the pages' templates."""

import re
from collections.abc import Mapping, Sequence
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from django import template
from django.core.exceptions import NON_FIELD_ERRORS
from django.forms import BoundField, CheckboxInput, RadioSelect
from django.template.loader import get_template
from django.utils.html import format_html
from django.utils.safestring import SafeString, mark_safe
from django.utils.text import capfirst
from django.utils.translation import gettext as said

from api.pages import facts_told, words, workings
from api.pages.saying import in_words
from api.pages.unkept import Unkept
from api.static_files import FILES
from ledger.access import Actor
from ledger.errors import Sentence
from ledger.roles import Verb

register = template.Library()
for filter in (
    *(words.worded, words.account_called, words.class_called),
    *(words.kind, words.movement, words.held, words.event),
    *(words.decided, words.charge, words.role),
):
    register.filter(filter.__name__, filter)


@register.simple_tag
def asset(name: str) -> str:
    """The address of a file that a page loads."""
    return FILES[name].address


@register.simple_tag(takes_context=True)
def quantity(context: Any, value: Decimal | None, counted: bool = False) -> str:
    return "" if value is None else str(context["reader"].quantity(Decimal(value), counted))


@register.simple_tag(takes_context=True)
def measured(context: Any, entered: str, value: Decimal, counted: bool = False) -> str:
    """What was typed and what it is: "4 gal = 15.142 kg"; said once where that is the same."""
    reader = context["reader"]
    typed, shown = reader.written(entered), reader.quantity(value, counted)
    # One that was typed without the marks between thousands is the same.
    same = re.sub(r"\W", "", typed) == re.sub(r"\W", "", shown)
    return str(shown) if same else f"{typed} = {shown}"


@register.simple_tag(takes_context=True)
def entered(context: Any, text: str) -> str:
    """What was typed once, as its reader writes it: "1.000 pieces", "2,5 kg"."""
    return str(context["reader"].written(text))


@register.simple_tag(takes_context=True)
def grams(context: Any, value: Decimal | None) -> str:
    return "" if value is None else str(context["reader"].grams(Decimal(value)))


@register.simple_tag(takes_context=True)
def grams_bare(context: Any, value: Decimal) -> str:
    """Grams within a sum, where pounds beside them would make it a false one."""
    return str(context["reader"].on_scale(value))


@register.simple_tag(takes_context=True)
def on_scale(context: Any, value: Decimal) -> str:
    """Grams in large; the pounds of who reads in them stand small beneath."""
    reader = context["reader"]
    beside = reader.beside_grams(value)
    under = format_html('<br><span class="small">{}</span>', beside) if beside else ""
    return format_html("{}{}", reader.on_scale(value), under)


@register.simple_tag(takes_context=True)
def number(context: Any, value: Decimal | int | None, places: int | None = None) -> str:
    return "" if value is None else str(context["reader"].number(Decimal(value), places))


@register.simple_tag(takes_context=True)
def in_full(context: Any, value: Decimal | int, unit: str) -> str:
    return str(context["reader"].in_full(Decimal(value), unit))


@register.simple_tag(takes_context=True)
def percent(context: Any, value: Decimal | None, places: int | None = None) -> str:
    return "" if value is None else str(context["reader"].percent(Decimal(value), places))


@register.simple_tag(takes_context=True)
def declared_percent(context: Any, value: Decimal) -> str:
    return str(context["reader"].declared_percent(value))


@register.simple_tag(takes_context=True)
def whole_percent(context: Any, value: Decimal) -> str:
    return str(context["reader"].whole_percent(value))


@register.simple_tag(takes_context=True)
def money(context: Any, value: Decimal | None) -> str:
    return "" if value is None else str(context["reader"].money(Decimal(value)))


@register.simple_tag(takes_context=True)
def abroad(context: Any, value: Decimal, currency: str) -> str:
    return str(context["reader"].abroad(value, currency))


@register.simple_tag(takes_context=True)
def amount(context: Any, value: Decimal) -> str:
    """Money without its sign, where the words say which way it goes."""
    return str(context["reader"].money(abs(value)))


@register.simple_tag(takes_context=True)
def price(context: Any, value: Decimal | None) -> str:
    return "" if value is None else str(context["reader"].price(Decimal(value)))


@register.simple_tag(takes_context=True)
def unit_cost(context: Any, value: Decimal | None) -> str:
    return "" if value is None else str(context["reader"].unit_cost(Decimal(value)))


@register.simple_tag(takes_context=True)
def per_mass(context: Any, value: Decimal | None, counted: bool = False) -> str:
    """What a kilogram, a pound or a piece costs, to four places."""
    reader = context["reader"]
    return "" if value is None else str(reader.unit_cost(reader.per_mass(Decimal(value), counted)))


@register.simple_tag(takes_context=True)
def per_mass_coins(context: Any, value: Decimal | None, counted: bool = False) -> str:
    """The same, rounded to the least coin."""
    reader = context["reader"]
    return "" if value is None else str(reader.money(reader.per_mass(Decimal(value), counted)))


@register.simple_tag(takes_context=True)
def a_mass(context: Any, counted: bool = False) -> str:
    """What these are the cost of."""
    return str(context["reader"].a_mass(counted))


@register.simple_tag(takes_context=True, name="A_mass")
def a_mass_first(context: Any, counted: bool = False) -> str:
    """The same, where a line begins with it."""
    return str(capfirst(context["reader"].a_mass(counted)))


@register.simple_tag(takes_context=True)
def mass_unit(context: Any) -> str:
    return str(context["reader"].mass_unit)


@register.simple_tag(takes_context=True)
def day(context: Any, value: date | None) -> str:
    return "" if value is None else str(context["reader"].day(value))


@register.simple_tag(takes_context=True)
def dated(context: Any, text: str) -> str:
    """A text of the domain with its days as the reader has them."""
    return str(context["reader"].dated(text))


@register.simple_tag(takes_context=True)
def near_day(context: Any, value: date) -> str:
    return str(context["reader"].near_day(value))


@register.simple_tag(takes_context=True)
def some(context: Any, value: Decimal, counted: bool = False) -> str:
    """A quantity; of nothing, nothing stands there."""
    return str(context["reader"].quantity(value, counted)) if value else ""


@register.simple_tag(takes_context=True)
def moment(context: Any, value: datetime | None) -> str:
    return "" if value is None else str(context["reader"].moment(value))


@register.simple_tag(takes_context=True)
def say(context: Any, text: str) -> str:
    """A sentence of the domain in the reader's language."""
    return in_words(text, context["reader"])


@register.simple_tag(takes_context=True)
def say_about(context: Any, about: Sequence[str]) -> str:
    """What a caution is about; names that people gave stay as they are."""
    reader = context["reader"]
    return ", ".join(in_words(one, reader) if isinstance(one, Sentence) else one for one in about)


@register.simple_tag(takes_context=True)
def told(context: Any, facts: Mapping[str, str]) -> str:
    """What a figure was reckoned from."""
    reader = context["reader"]
    return str(reader.dated(facts_told.told(facts, reader)))


@register.simple_tag(takes_context=True)
def reckoned(context: Any, how: str) -> str:
    """How a figure was reckoned."""
    return facts_told.reckoned(how, context["reader"])


@register.inclusion_tag("pages/field.html", takes_context=True)
def field(context: Any, bound: BoundField, **words: str) -> dict[str, Any]:
    """A field with its label, its help and what is wrong with it, in that order.

    An example that its help gives is written as its reader would type it.
    """
    widget = bound.field.widget
    several, ticked = isinstance(widget, RadioSelect), isinstance(widget, CheckboxInput)
    written, help = _widget(context, bound), _help(context, bound)
    facts = {"field": bound, "widget": written, "help": help, "several": several, "ticked": ticked}
    facts["lost"] = bound.html_name in context.get("lost", ())
    facts["suggested"] = getattr(bound.field, "suggested", ())
    return facts | words


def _help(context: Any, bound: BoundField) -> str:
    return str(context["reader"].entered(str(bound.help_text))) if bound.help_text else ""


def _widget(context: Any, bound: BoundField) -> SafeString:
    """What is typed into; the first on the page that is wrong gets the focus."""
    unkept: Unkept | None = context.get("unkept")
    attrs: dict[str, str | bool] = {}
    if hasattr(bound.field, "suggested"):
        attrs["list"] = f"{bound.auto_id}_suggested"
    if bound.html_name in context.get("lost", ()):
        described = f"{bound.aria_describedby or ''} {bound.auto_id}_lost"
        attrs["aria-describedby"] = described.strip()
    if unkept and bound.errors:
        # Of several to choose from, the first.
        id = bound.id_for_label or f"{bound.auto_id}_0"
        attrs["autofocus"] = unkept.mark(id, _called(bound))
    written = bound.as_widget(attrs=attrs)
    if isinstance(bound.field.widget, RadioSelect):
        # Django writes what is said of the whole at each of them.
        before, focus, after = written.partition(" autofocus")
        written = mark_safe(before + focus + after.replace(" autofocus", ""))  # noqa: S308
    return written


def _called(bound: BoundField) -> str:
    """The name of a field, with its line where there are several."""
    place = getattr(bound.form, "of_row", 0)
    names = {"place": place, "label": bound.label}
    return said("Line %(place)s, %(label)s") % names if place else str(bound.label)


@register.inclusion_tag("pages/refusal.html", takes_context=True)
def refusal(context: Any, form: Any, *names: str, every: bool = False) -> dict[str, Any]:
    """What is wrong with a form, if there is one, that no field of the page shows.

    That is what is said of all of it and of the fields of these names; or with `every`, all.
    """
    errors = getattr(form, "errors", {})
    shown = [name for name in errors if every or name in {NON_FIELD_ERRORS, *names}]
    unkept: Unkept | None = context.get("unkept")
    id = f"refused-{len(unkept.places)}" if unkept and shown else ""
    return {
        "errors": [errors[name] for name in shown],
        "id": id,
        "begins": bool(unkept and id and unkept.mark(id)),
    }


@register.simple_block_tag(takes_context=True)
def unkept_above(context: Any, content: str) -> SafeString:
    """A page with what is wrong on it named above, where nothing was kept of what was typed."""
    unkept: Unkept | None = context.get("unkept")
    if unkept is None:
        return mark_safe(content)  # noqa: S308 - it was rendered by a template
    facts = {"unkept": unkept, "reader": context["reader"]}
    above = get_template("pages/unkept.html").render(facts)
    return mark_safe(above + content)  # noqa: S308 - likewise


@register.inclusion_tag("pages/cell.html", takes_context=True)
def cell(context: Any, bound: BoundField) -> dict[str, Any]:
    """A field of one row of many, of half the size: its label is about it, and needs no id of it.

    What it says of `autocomplete` its form says once, and a text is what any input is that says
    nothing else. With something wrong it is a `field`.
    """
    if bound.errors:
        return field(context, bound)
    spared: dict[str, str | bool] = {"id": False, "autocomplete": False}
    # It is the first attribute there is, and of what was typed no quotation mark is left.
    bare = bound.as_widget(attrs=spared).replace(' type="text"', "", 1)
    return {"field": bound, "widget": mark_safe(bare)}  # noqa: S308 - the form wrote it


@register.simple_block_tag
def opens(content: str, *place: object, **asked: object) -> str:
    """A figure that opens to its working: beneath the figures, or on a page of its own."""
    to = workings.address(*place, **asked)
    return format_html(
        '<a href="{}" hx-get="{}" hx-target="next .opened" hx-swap="innerHTML show:top">{}</a>',
        to,
        to,
        content,
    )


@register.filter
def of(found: Mapping[str, Any], name: str) -> Any:
    """What belongs to a name, if anything."""
    return found.get(name)


@register.filter
def may(actor: Actor, verb: str) -> bool:
    """Whether the reader's role may do what a link leads to."""
    return actor.may(Verb[verb])
