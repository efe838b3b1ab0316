"""The draft of a product's label."""

from datetime import date, datetime
from typing import Final

from django.utils.translation import gettext as said
from django.utils.translation import gettext_lazy as _

from api.sheets.blocks import Block, Card, Cards, Fields, Heading, Sheet, Table, Text
from api.sheets.figures import PLAIN, Hand, share
from api.sheets.lots import carrier
from formulas.declaration import Group, Market, shown
from formulas.labelling import Label

# What is at just 1 % belongs to the first in the EU, and to the second in the US.
PLACES: Final = {
    Group.ABOVE: _("in this order"),
    Group.UP_TO: _("in any order, after those"),
    Group.COLOURANT: _("in any order, at the end"),
}
RULES: Final = {
    Market.EU: _(
        "Ingredients stand under the word Ingredients, in descending order as added; those below"
        " 1 % in any order after the others, colourants last (Regulation (EC) No 1223/2009 Art 19)."
        " It may not be sold without its safety report (Art 10)."
    ),
    Market.US: _(
        "Letters of the declaration are at least 1/16 inch (1.6 mm) high (21 CFR 701.3(b)). Liquids"
        " are stated by fluid measure, all else by weight; figures are rounded down, never up."
    ),
}


def product_label(
    label: Label,
    *,
    market: Market,
    today: date,
    printed_at: datetime,
    paper: str,
    hand: Hand = PLAIN,
) -> Sheet:
    """Describe the draft: the texts of the label, how they came about, and what is missing.

    The texts are those of the label itself, whatever the language of who prints the draft.
    """
    product, lot = label.product, label.lot
    blocks: list[Block] = [Heading(said("Texts")), _texts(label, market)]
    if label.missing:
        blocks.append(Heading(said("Still missing")))
        blocks += [Text(hand.say(one)) for one in label.missing]
    if lot is not None:
        code = carrier(lot.code, lot.expires_on, today, product.gtin)
        rows = [
            (said("Net contents"), label.contents.text),
            (said("Lasts"), label.durability.text),
        ]
        card = Card(product.name, lot.code, [row for row in rows if row[1]], code)
        blocks += [Heading(said("Code of this lot")), Cards([card])]
    blocks += [Heading(said("How the ingredients came about")), _ingredients(label, hand)]
    if label.declaration.allergens:
        blocks += [Heading(said("Fragrance allergens")), _allergens(label, hand)]
    blocks.append(Text(str(RULES[market])))
    blocks += [Text(hand.say(note)) for note in label.declaration.notes]
    return Sheet(
        title=said("Draft of a label"),
        about=product.name,
        name=f"label-{product.name[:40]}",
        printed_at=printed_at,
        blocks=blocks,
        paper=paper,
        foot=said("A draft. Ask a qualified safety assessor before relying on it."),
        hand=hand,
    )


def _texts(label: Label, market: Market) -> Fields:
    product, contents = label.product, label.contents.text
    if market is Market.EU and not label.contents.required_in_eu:
        contents = said("%(contents)s (need not be stated below 5 g or 5 mL)") % {
            "contents": contents
        }
    return Fields(
        [
            (said("Name"), product.name),
            (said("What it is for"), product.label_function),
            (said("Net contents"), contents),
            (said("Ingredients"), label.declaration.text),
            (said("Precautions"), _precautions(label)),
            (said("How long it lasts"), label.durability.text),
            (said("Batch number"), label.lot.code if label.lot else ""),
            (said("Made by"), label.made_by),
            (said("Report to"), product.report_to),
            ("GTIN", product.gtin),
        ]
    )


def _precautions(label: Label) -> str:
    """What the maker warns of; and that only professionals use it, where that is so."""
    texts = [label.product.label_warnings]
    if label.product.professional_only:
        texts.append(said("To be used only by licensed professionals."))
    return " ".join(one for one in texts if one)


def _ingredients(label: Label, hand: Hand) -> Table:
    rows = [
        (
            one.inci_name,
            share(one.shown, hand),
            str(PLACES[one.group]),
            ", ".join(one.materials) or said("named as an allergen"),
        )
        for one in label.declaration.ingredients
    ]
    head = (said("INCI name"), "%", said("Where it may stand"), said("Comes with"))
    return Table(head, (34, 10, 24, 32), rows, frozenset({1}))


def _allergens(label: Label, hand: Hand) -> Table:
    threshold = share(shown(label.declaration.threshold), hand)
    rows = [
        (one.inci_name, share(shown(one.percent), hand), said("yes") if one.named else said("no"))
        for one in label.declaration.allergens
    ]
    above = said("Above %(percent)s %%") % {"percent": threshold}
    return Table((said("INCI name"), "%", above), (56, 22, 22), rows, frozenset({1}))
