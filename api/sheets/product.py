"""The draft of a product's label."""

from datetime import date, datetime

from api.sheets.blocks import Block, Card, Cards, Fields, Heading, Sheet, Table, Text
from api.sheets.lots import carrier
from formulas.declaration import Group, Market, shown
from formulas.labelling import Label

GROUPS = {Group.ABOVE: "above 1 %", Group.UP_TO: "up to 1 %", Group.COLOURANT: "colourant"}
RULES = {
    Market.EU: (
        "Ingredients stand under the word Ingredients, in descending order as added; those below"
        " 1 % in any order after the others, colourants last (Regulation (EC) No 1223/2009 Art 19)."
        " It may not be sold without its safety report (Art 10)."
    ),
    Market.US: (
        "Letters of the declaration are at least 1/16 inch (1.6 mm) high (21 CFR 701.3(b)). Liquids"
        " are stated by fluid measure, all else by weight; figures are rounded down, never up."
    ),
}


def product_label(
    label: Label, *, market: Market, today: date, printed_at: datetime, paper: str
) -> Sheet:
    """Describe the draft: the texts of the label, how they came about, and what is missing."""
    product, lot = label.product, label.lot
    contents = label.contents.text
    if market is Market.EU and not label.contents.required_in_eu:
        contents = f"{contents} (need not be stated below 5 g or 5 mL)"
    blocks: list[Block] = [
        Heading("Texts"),
        Fields(
            [
                ("Name", product.name),
                ("What it is for", product.label_function),
                ("Net contents", contents),
                ("Ingredients", label.declaration.text),
                ("Precautions", product.label_warnings),
                ("How long it lasts", label.durability.text),
                ("Batch number", lot.code if lot else ""),
                ("Made by", label.made_by),
                ("Report to", product.report_to),
                ("GTIN", product.gtin),
            ]
        ),
    ]
    if label.missing:
        blocks.append(Heading("Still missing"))
        blocks += [Text(said, strong=False) for said in label.missing]
    if lot is not None:
        code = carrier(lot.code, lot.expires_on, today, product.gtin)
        rows = [("Net contents", label.contents.text), ("Lasts", label.durability.text)]
        card = Card(product.name, lot.code, [row for row in rows if row[1]], code)
        blocks += [Heading("Code of this lot"), Cards([card])]
    blocks += [Heading("How the ingredients came about"), _ingredients(label)]
    if label.declaration.allergens:
        blocks += [Heading("Fragrance allergens"), _allergens(label)]
    blocks += [Text(note) for note in (RULES[market], *label.declaration.notes)]
    return Sheet(
        title="Draft of a label",
        about=product.name,
        name=f"label-{product.name[:40]}",
        printed_at=printed_at,
        blocks=blocks,
        paper=paper,
        foot="A draft. Ask a qualified safety assessor before relying on it.",
    )


def _ingredients(label: Label) -> Table:
    rows = [
        (
            one.inci_name,
            f"{one.shown.normalize():f}",
            GROUPS[one.group],
            ", ".join(one.materials) or "named as an allergen",
        )
        for one in label.declaration.ingredients
    ]
    return Table(("INCI name", "%", "Order", "Comes with"), (36, 14, 14, 36), rows, frozenset({1}))


def _allergens(label: Label) -> Table:
    threshold = f"{shown(label.declaration.threshold).normalize():f}"
    rows = [
        (one.inci_name, f"{shown(one.percent).normalize():f}", "yes" if one.named else "no")
        for one in label.declaration.allergens
    ]
    head = ("INCI name", "%", f"Above {threshold} %")
    return Table(head, (56, 22, 22), rows, frozenset({1}))
