"""What is pledged and what is left of whole packs, worked by hand."""

from decimal import Decimal as D
from uuid import UUID

from ledger.order_bills import SupplierOrder, bill
from ledger.order_terms import PackOffer, PackPrice, Terms
from ledger.round_leftovers import Left, leftovers
from ledger.round_pledges import MakerShare, Pledge, Reckoned, ShareLine, goods_of, wanted

CENT = D("0.01")
NORTH, MILL, QUAY = (UUID(int=number) for number in range(1, 4))
OIL, JAR = UUID(int=101), UUID(int=102)
PAIL = PackOffer("pail", "press", OIL, D(5000), (PackPrice(1, D(40)),))
BOX = PackOffer("box", "kiln", JAR, D(24), (PackPrice(1, D("15.05")),))
TRAY = PackOffer("tray", "kiln", JAR, D(6), (PackPrice(1, D("4.20")),))
TERMS = {"press": Terms(flat=D(28)), "kiln": Terms()}


def orders(packs: dict[PackOffer, int]) -> tuple[SupplierOrder, ...]:
    return bill(packs, TERMS, CENT)


def oil(maker: UUID, grams: str, highest: str = "", *, asks: bool = False) -> Pledge:
    price = D(highest) if highest else None
    return Pledge(maker, OIL, D(grams) if grams else None, False, price, asks)


def jars(maker: UUID, pieces: int, *, asks: bool = False) -> Pledge:
    return Pledge(maker, JAR, D(pieces) if pieces else None, True, None, asks)


def test_a_price_is_of_a_kilogram_or_a_piece() -> None:
    assert oil(NORTH, "1").price_of(D(16), D(2000)) == 8
    assert jars(NORTH, 1).price_of(D(16), D(20)) == D("0.8")


def test_a_highest_price_is_accepted_itself() -> None:
    pledge = oil(NORTH, "1", "8.00")
    assert pledge.accepts(D("8.00"))
    assert not pledge.accepts(D("8.01"))
    assert oil(NORTH, "1").accepts(D(10**6))


def test_what_is_wanted_and_bought_is_summed_by_material() -> None:
    pledges = [oil(NORTH, "2000"), jars(NORTH, 5), oil(MILL, "500"), oil(QUAY, "", asks=True)]
    assert wanted(pledges) == {OIL: D(2500), JAR: D(5)}
    bought = goods_of(orders({BOX: 2, PAIL: 1, TRAY: 3}))
    assert bought == {JAR: (D(66), D("42.70")), OIL: (D(5000), D(40))}


def test_shares_are_summed() -> None:
    pledge = oil(NORTH, "2000")
    line = ShareLine(pledge, D(2000), D(26), D(100), D("0.80"))
    assert line.price == 13
    share = MakerShare(NORTH, None, D(68), D(26), (line, line))
    assert share.leftover_amount == D("1.60")
    found = Reckoned(None, None, (share, share), (), proven=True)
    assert (found.apart, found.together) == (D(136), D(0))


def test_nothing_is_left_where_packs_are_used_up() -> None:
    assert leftovers([oil(NORTH, "5000")], orders({PAIL: 1}), CENT) == {}


def test_those_who_ask_for_it_share_it_as_they_pledged() -> None:
    """2 kg are left, 16.00 of goods: three parts in four to who pledged three."""
    north, mill = oil(NORTH, "2250", asks=True), oil(MILL, "750", asks=True)
    none = oil(QUAY, "", asks=True)
    assert leftovers([north, mill, none], orders({PAIL: 1}), CENT) == {
        north: Left(D(1500), D(12)),
        mill: Left(D(500), D(4)),
        none: Left(D(0), D(0)),
    }


def test_those_who_pledged_nothing_share_it_alike() -> None:
    """Half a gram is left, of 40.00 / 10,000: to the cent nothing."""
    north, mill, quay = oil(NORTH, "4000"), oil(MILL, "", asks=True), oil(QUAY, "", asks=True)
    found = leftovers([north, mill, quay], orders({PAIL: 1}), CENT)
    assert found == {mill: Left(D(500), D(4)), quay: Left(D(500), D(4))}
    nearly = oil(NORTH, "4999.5")
    assert leftovers([nearly, mill], orders({PAIL: 1}), CENT) == {mill: Left(D("0.5"), D(0))}


def test_a_highest_price_is_of_the_leftover_as_well() -> None:
    """What is left costs 8.00 a kilogram: too much at 7.99, and then nobody has asked."""
    north = oil(NORTH, "4000")
    just, less = oil(MILL, "", "8.00", asks=True), oil(QUAY, "", "7.99", asks=True)
    assert leftovers([north, just, less], orders({PAIL: 1}), CENT) == {just: Left(D(1000), D(8))}
    assert leftovers([north, less], orders({PAIL: 1}), CENT) == {north: Left(D(1000), D(0))}


def test_pieces_are_not_broken() -> None:
    """Three jars of 24 are left, 1.88 of 15.05: two and one, 1.25 and 0.63."""
    north, mill, quay = jars(NORTH, 21), jars(MILL, 0, asks=True), jars(QUAY, 0, asks=True)
    assert leftovers([north, mill, quay], orders({BOX: 1}), CENT) == {
        mill: Left(D(2), D("1.25")),
        quay: Left(D(1), D("0.63")),
    }
    # To the nearest five cents 1.90: 1.25 and 0.65.
    assert leftovers([north, mill, quay], orders({BOX: 1}), D("0.05")) == {
        mill: Left(D(2), D("1.25")),
        quay: Left(D(1), D("0.65")),
    }


def test_each_material_is_shared_among_its_own() -> None:
    pledges = [oil(NORTH, "4000"), jars(NORTH, 20), jars(MILL, 1, asks=True)]
    assert leftovers(pledges, orders({PAIL: 1, BOX: 1}), CENT) == {
        pledges[0]: Left(D(1000), D(0)),
        pledges[2]: Left(D(3), D("1.88")),
    }
