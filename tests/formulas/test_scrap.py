"""What a failed batch cost: scenario figures, and that nothing of it is lost."""

from decimal import Decimal
from fractions import Fraction

from hypothesis import given
from hypothesis import strategies as st

from formulas.scrap import parts_of, scrap_cost

D = Decimal
grams = st.decimals("0.000001", "99999", places=6)


def test_normal_loss_is_carried_by_what_should_have_come_out() -> None:
    """160 ÷ (10 kg less 3 %) = 16.4948/kg; 2.5 kg 41.24, the rest 118.76."""
    done = scrap_cost(D(160), weighed_grams=D(10000), process_loss_percent=D(3), kept_grams=D(2500))
    assert (done.per_kg, done.kept, done.abnormal) == (
        D("16.494845"),
        D("41.237113"),
        D("118.762887"),
    )
    assert done.lost_grams == D(7200)


def test_more_kept_than_expected_carries_all_and_no_more() -> None:
    done = scrap_cost(D(160), weighed_grams=D(100), process_loss_percent=D(3), kept_grams=D(99))
    assert (done.kept, done.abnormal) == (D(160), D(0))


@given(
    cost=st.decimals(0, 10**6, places=6),
    weighed=grams,
    loss=st.decimals(0, 99, places=6),
    share=st.fractions(0, 1),
    nrv=st.none() | st.decimals(0, 10**6, places=2),
)
def test_what_is_kept_and_what_is_expensed_are_the_cost(
    cost: Decimal, weighed: Decimal, loss: Decimal, share: Fraction, nrv: Decimal | None
) -> None:
    kept = (weighed * share.numerator / share.denominator).quantize(D("0.000001"))
    kept = min(kept, weighed)
    if not kept and loss > 90:
        return
    done = scrap_cost(
        cost, weighed_grams=weighed, process_loss_percent=loss, kept_grams=kept, nrv=nrv
    )
    assert done.kept + done.abnormal == cost
    assert 0 <= done.kept <= (cost if nrv is None else min(cost, nrv))


@given(quantities=st.lists(grams, min_size=1, max_size=9), share=st.fractions(0, 1))
def test_a_part_takes_of_each_no_more_than_there_is(
    quantities: list[Decimal], share: Fraction
) -> None:
    whole = sum(quantities, D(0))
    wanted = min(whole, (whole * share.numerator / share.denominator).quantize(D("0.000001")))
    parts = parts_of(quantities, wanted)
    assert sum(parts, D(0)) == wanted
    assert all(0 <= part <= there for part, there in zip(parts, quantities, strict=True))


def test_of_nothing_weighed_and_nothing_kept_all_is_expensed() -> None:
    found = scrap_cost(D(1), weighed_grams=D(0), process_loss_percent=D(0))
    assert (found.kept, found.abnormal) == (D(0), D(1))
