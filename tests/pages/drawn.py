"""What is wrong with a picture of flows: bands behind boxes of others, and figures over figures."""

from collections.abc import Iterator
from itertools import combinations, pairwise

from api.pages.flows import LETTER, WIDTH, Band, Box, Picture
from api.pages.layers import Layers

# Left, top, right and bottom.
Place = tuple[float, float, float, float]
# So many points of each bend are looked at.
STEPS = 24
# How high the letters of a quantity are.
PLATE = 15


def place_of(box: Box) -> Place:
    return box.x, box.y, box.x + WIDTH, box.y + box.height


def plate_of(band: Band) -> Place:
    one = band.plate
    top = one.y - PLATE // 2
    return one.x, top, one.x + LETTER * len(one.text), top + PLATE


def crossings(layers: Layers) -> int:
    """How often two edges cross, both between the same two columns; counted pair by pair."""
    there = {item: place for column in layers.columns for place, item in enumerate(column)}
    level = {item: number for number, column in enumerate(layers.columns) for item in column}
    steps = [step for chain in layers.chains for step in pairwise(chain)]
    return sum(
        level[start] == level[other]
        and (there[start] - there[other]) * (there[end] - there[to]) < 0
        for (start, end), (other, to) in combinations(steps, 2)
    )


def overlap(one: Place, other: Place) -> bool:
    """Whether two places have anything in common."""
    across = one[0] < other[2] and other[0] < one[2]
    return across and one[1] < other[3] and other[1] < one[3]


def points_of(band: Band) -> Iterator[tuple[float, float]]:
    """Points along a band: bends and straight parts by turns, as its path says."""
    for leg, ((x, y), (to, down)) in enumerate(pairwise(band.places)):
        for step in range(STEPS + 1):
            t = step / STEPS
            if leg % 2:
                yield x + (to - x) * t, y
            else:
                # A cubic curve that is bent to the middle, as `Band.path` draws it.
                part = 3 * (1 - t) ** 2 * t + 3 * (1 - t) * t**2
                across = (1 - t) ** 3 * x + part * (x + to) / 2 + t**3 * to
                yield across, y + (down - y) * (3 * (1 - t) * t**2 + t**3)


def faults_of(picture: Picture) -> list[str]:
    """Bands that touch a box elsewhere than at their ends, and quantities that stand on others."""
    found = []
    places = [place_of(box) for box in picture.boxes]
    for band in picture.bands:
        half = float(band.width) / 2
        for x, y in points_of(band):
            spot = (x - 0.01, y - half, x + 0.01, y + half)
            own = x in (band.places[0][0], band.places[-1][0])
            if not own and any(overlap(spot, place) for place in places):
                found.append(f"{band.says} passes a box at {x}, {y}")
                break
        if any(overlap(plate_of(band), place) for place in places):
            found.append(f"{band.says}: its quantity stands on a box")
    for one, other in combinations(picture.bands, 2):
        if overlap(plate_of(one), plate_of(other)):
            found.append(f"{one.says} and {other.says}: their quantities overlap")
    for first, second in combinations(picture.boxes, 2):
        if overlap(place_of(first), place_of(second)):
            found.append(f"{first.node.full} and {second.node.full} overlap")
    return found
