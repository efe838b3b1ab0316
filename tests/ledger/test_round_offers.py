"""Offers as a round's plan asks for them."""

from dataclasses import replace
from decimal import Decimal
from uuid import UUID

from ledger.offer_prices import Freight, FreightKind, PackBreak
from ledger.offer_reading import NO_TERMS, OfferOn, TermsOn
from ledger.order_terms import PackPrice, Terms
from ledger.round_market import Market
from ledger.round_offers import market

D = Decimal
OIL, JAR, FAR, NEAR = (UUID(int=number) for number in range(1, 5))


def offer(number: int, pack: str, price: str, **facts: object) -> OfferOn:
    bare = OfferOn(
        offer=UUID(int=number),
        supplier=FAR,
        supplier_name="Bulk oils",
        material=OIL,
        article_code="",
        counted=False,
        entered=f"{pack} g",
        pack=D(pack),
        price=D(price),
        breaks=(),
        least_packs=1,
        lead_time_days=None,
        measured=None,
        shelf_life_days=None,
        terms=NO_TERMS,
    )
    return replace(bare, **facts)  # type: ignore[arg-type]


def of(*offers: OfferOn, jar: str | None = None) -> Market:
    masses = {JAR: None if jar is None else D(jar)}
    return market(offers, masses, coin=D("0.01"))


def test_breaks_are_counted_in_whole_packs() -> None:
    steps = (PackBreak(D(7000), D(18)), PackBreak(D(20_000), D(15)))
    (found,) = of(offer(11, "5000", "20", breaks=steps)).offers
    assert found.prices == (PackPrice(1, D(20)), PackPrice(2, D(18)), PackPrice(4, D(15)))
    assert (found.size, found.mass_g) == (D(5000), D(5000))
    # Whoever must buy three pays no more than from the break on that it has passed.
    (found,) = of(offer(11, "5000", "20", breaks=steps, least_packs=3)).offers
    assert found.prices == (PackPrice(3, D(18)), PackPrice(4, D(15)))


def test_terms_are_the_supplier_s() -> None:
    flat = TermsOn(D(50), Freight(FreightKind.FLAT, D(28), D(200)), 9)
    by_mass = TermsOn(None, Freight(FreightKind.MASS, D("0.4")), None)
    found = of(
        offer(11, "5000", "20", terms=flat), offer(12, "1000", "5", supplier=NEAR, terms=by_mass)
    )
    assert found.terms == {
        FAR: Terms(minimum=D(50), flat=D(28), free_from=D(200)),
        NEAR: Terms(per_kg=D("0.4")),
    }
    assert found.materials == {OIL}


def test_pieces_of_unknown_mass_are_left_out_where_freight_goes_by_mass() -> None:
    by_mass = TermsOn(None, Freight(FreightKind.MASS, D("0.4")), None)
    jars = offer(11, "24", "15", material=JAR, counted=True, terms=by_mass)
    assert of(jars).offers == []
    assert [one.mass_g for one in of(jars, jar="120").offers] == [D(2880)]
    assert [one.mass_g for one in of(replace(jars, terms=NO_TERMS)).offers] == [0]
