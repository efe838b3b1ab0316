"""Offers as a round's plan asks for them; and a plan for all costs no more than one for each."""

from dataclasses import replace
from decimal import Decimal
from uuid import UUID

from hypothesis import given, settings
from hypothesis import strategies as st

from ledger.offer_prices import Freight, FreightKind, PackBreak
from ledger.offer_reading import NO_TERMS, OfferOn, TermsOn
from ledger.order_terms import PackPrice, Terms
from ledger.round_offers import Market, market

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
    return market(offers, masses, coin=D("0.01"), seconds=D(5))


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


@settings(deadline=None, max_examples=20)
@given(
    wants=st.lists(st.integers(1, 30_000), min_size=2, max_size=4),
    prices=st.lists(st.integers(100, 9_000), min_size=3, max_size=3),
    freight=st.integers(0, 4_000),
)
def test_ordering_together_never_costs_more_than_apart(
    wants: list[int], prices: list[int], freight: int
) -> None:
    carried = TermsOn(None, Freight(FreightKind.FLAT, D(freight).scaleb(-2), D(150)), None)
    small, large, other = (D(price).scaleb(-2) for price in prices)
    found = of(
        offer(11, "1000", str(small), terms=carried),
        offer(12, "5000", str(large), terms=carried, breaks=(PackBreak(D(20_000), large / 2),)),
        offer(13, "3000", str(other), supplier=NEAR, terms=carried),
    )
    apart = [found.plan({OIL: D(grams)}) for grams in wants]
    together = found.plan({OIL: D(sum(wants))})
    assert together.proven
    assert all(plan.proven for plan in apart)
    assert together.cost <= sum(plan.cost for plan in apart)
