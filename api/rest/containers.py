"""Containers, measured by filling them with water."""

from typing import Any

from rest_framework import serializers

from api import etags
from api.operation import Resource, Sent, reads, writes
from api.paging import Paged, page, page_of
from api.rest import examples
from api.rest.fields import (
    Body,
    Choice,
    DecimalText,
    Id,
    Moment,
    QuantityField,
    Shown,
    Text,
    listed,
    plain,
)
from formulas import containers
from formulas.models import Container, WaterFilling
from ledger.access import Actor
from ledger.errors import NotFound

LEVELS = [level.value for level in Container.Level]
LEAK = (
    "It holds more than its nominal: filled by eye to its level, every unit gives so much away."
    " Fill by weight."
)


class ContainerFactsIn(Body):
    nominal = QuantityField(help_text='What it is sold as holding, such as "250 mL".')
    headspace_percent = DecimalText(
        least="0", most="99", required=False, help_text="Of the brimful capacity, to stay empty."
    )


class PieceIn(Body):
    gross = QuantityField(help_text='Full of water, such as "280.4 g".')
    tare = QuantityField(help_text='Empty, such as "28.4 g".')


class WaterFillIn(Body):
    level = Choice(LEVELS, help_text="To the brim, or to the level that is filled to.")
    at = Text(max_length=32, help_text='The temperature of the water, such as "20 degC".')
    pieces = listed(PieceIn, least=1, most=100)
    happened_at = Moment(required=False)


class PieceOut(serializers.Serializer[Any]):
    gross = Shown(help_text="Grams.")
    tare = Shown(help_text="Grams.")
    millilitres = Shown()


class WaterFillOut(serializers.Serializer[Any]):
    id = Id()
    level = serializers.ChoiceField(LEVELS)
    at = Text()
    celsius = Shown()
    pieces = PieceOut(many=True)
    mean_ml = Shown()
    least_ml = Shown()
    most_ml = Shown()
    happened_at = Moment()
    person = Id()


class CapacityOut(serializers.Serializer[Any]):
    mean_ml = Shown()
    least_ml = Shown(help_text="Of the smallest piece.")


class BeyondOut(serializers.Serializer[Any]):
    millilitres = Shown()
    percent = Shown()
    note = Text()


class ContainerOut(serializers.Serializer[Any]):
    id = Id()
    material = Id()
    name = Text()
    nominal = Text()
    nominal_ml = Shown()
    headspace_percent = Shown()
    brimful = CapacityOut(allow_null=True, help_text="By the latest water fill.")
    usable = CapacityOut(allow_null=True, help_text="By the latest water fill to the fill level.")
    usable_ml = Shown(
        allow_null=True,
        help_text="What may be filled: measured, or else the brimful less the headspace.",
    )
    beyond_nominal = BeyondOut(allow_null=True)
    version = serializers.IntegerField()


def container_json(row: Container) -> dict[str, Any]:
    beyond = containers.beyond_nominal(row)
    return {
        "id": str(row.id),
        "material": str(row.material_id),
        "name": row.material.name,
        "nominal": row.nominal_entered,
        "nominal_ml": plain(row.nominal_ml),
        "headspace_percent": plain(row.headspace_percent.normalize()),
        "brimful": _capacity(row.brimful_mean, row.brimful_least),
        "usable": _capacity(row.usable_mean, row.usable_least),
        "usable_ml": plain(row.usable_ml),
        "beyond_nominal": beyond
        and {
            "millilitres": plain(beyond[0]),
            "percent": plain(round(beyond[1], 2)),
            "note": LEAK,
        },
        "version": row.version,
    }


def _capacity(mean: Any, least: Any) -> dict[str, Any] | None:
    return None if mean is None else {"mean_ml": plain(mean), "least_ml": plain(least)}


def water_fill_json(row: WaterFilling) -> dict[str, Any]:
    return {
        "id": str(row.id),
        "level": row.level,
        "at": row.temperature_entered,
        "celsius": plain(row.celsius),
        "pieces": row.pieces,
        "mean_ml": plain(row.mean_ml),
        "least_ml": plain(row.least_ml),
        "most_ml": plain(row.most_ml),
        "happened_at": row.happened_at,
        "person": str(row.person_id),
    }


class Containers(Resource):
    """The maker's containers."""

    @reads(Paged, page_of(ContainerOut))
    def get(self, actor: Actor, query: dict[str, Any]) -> Sent:
        """List containers, newest first, and which hold more than their nominal."""
        return page(self.request, query, containers.containers_of(actor), container_json)


class OneContainer(Resource):
    """A packaging material as a container."""

    @reads(None, ContainerOut)
    def get(self, actor: Actor, material: str) -> Sent:
        """Show what a container holds."""
        return _container(containers.container_for(actor, material))

    @writes(
        ContainerFactsIn,
        ContainerOut,
        status=200,
        keyed=False,
        matches=True,
        examples=examples.CONTAINER,
    )
    def put(self, actor: Actor, data: dict[str, Any], material: str) -> Sent:
        """Say what a packaging material nominally holds."""
        row = containers.set_container(
            actor,
            material=material,
            nominal=data["nominal"],
            headspace_percent=data.get("headspace_percent", containers.NO_HEADSPACE),
            version=self._version_read(actor, material),
        )
        return _container(row)

    def _version_read(self, actor: Actor, material: str) -> int | None:
        """The version that If-Match names, where it is sent; one that none has, without any."""
        if not self.request.headers.get("If-Match"):
            return None
        try:
            return etags.expected_version(
                self.request, containers.container_for(actor, material).id
            )
        except NotFound:
            return -1


class WaterFills(Resource):
    """Pieces of a container filled with water."""

    @reads(Paged, page_of(WaterFillOut))
    def get(self, actor: Actor, query: dict[str, Any], material: str) -> Sent:
        """List the water fills of a container, newest first."""
        rows = containers.water_fillings_of(actor, material)
        return page(self.request, query, rows, water_fill_json)

    @writes(WaterFillIn, WaterFillOut, examples=examples.WATER_FILL)
    def post(self, actor: Actor, data: dict[str, Any], material: str) -> dict[str, Any]:
        """Record pieces filled with water and weighed; the latest of a level counts."""
        row = containers.record_water_fill(
            actor,
            material=material,
            level=data["level"],
            at=data["at"],
            pieces=[containers.Piece(**piece) for piece in data["pieces"]],
            happened_at=data.get("happened_at", self.now),
        )
        return water_fill_json(row)


def _container(row: Container) -> Sent:
    return Sent(container_json(row), headers={"ETag": etags.etag(row.id, row.version)})
