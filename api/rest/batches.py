"""Batches: planned, weighed and finished."""

from typing import Any

from api.operation import Resource, Sent, reads, writes
from api.paging import page, page_of
from api.rest import examples
from api.rest.advice import PlannedOut, advice_json
from api.rest.batch_shapes import (
    BatchBrief,
    BatchIn,
    BatchOut,
    BatchQuery,
    CancelIn,
    FinishedOut,
    FinishIn,
    WeighBackIn,
    WeighedOut,
    WeighingIn,
    batch_json,
    brief_json,
    finished_json,
    new_batch_json,
    samples_of,
    weighed_json,
)
from api.rest.by_product_shapes import by_products_in
from api.rest.explained import Explain, figure_json
from api.rest.joint_shapes import joint_in
from formulas import advising, batches, finishing, weighing
from formulas.access import batches_of, with_details
from formulas.explaining import explain
from formulas.outcomes import AbnormalLoss
from ledger.access import Actor, day_of, find


class Batches(Resource):
    """The maker's batches."""

    @reads(BatchQuery, page_of(BatchBrief))
    def get(self, actor: Actor, query: dict[str, Any]) -> Sent:
        """List batches, newest first."""
        rows = batches_of(actor)
        filters = {
            "state": "state",
            "product": "product_id",
            "formula": "version__formula_id",
            "planned_from": "planned_for__gte",
            "planned_to": "planned_for__lte",
            "code": "code",
        }
        rows = rows.filter(**{filters[name]: query[name] for name in filters if name in query})
        return page(self.request, query, rows, brief_json)

    @writes(BatchIn, PlannedOut, examples=examples.BATCH)
    def post(self, actor: Actor, data: dict[str, Any]) -> dict[str, Any]:
        """Plan a batch: its lines, the lots to pour from, and what is short."""
        planned = batches.plan_batch(
            actor,
            planned_for=data["planned_for"],
            size=batches.Size(
                batch=data.get("batch"), output=data.get("output"), units=data.get("units")
            ),
            formula=data.get("formula"),
            product=data.get("product"),
        )
        told = advising.advise_new(actor, planned, today=day_of(actor, self.now))
        return {**new_batch_json(actor, planned.batch), "advice": advice_json(actor, told)}


class OneBatch(Resource):
    """One batch."""

    @reads(Explain, BatchOut)
    def get(self, actor: Actor, query: dict[str, Any], id: str) -> dict[str, Any]:
        """Show a batch; with explain=1 the tree from each figure down to lots and charges."""
        found = _shown(actor, id)
        if query.get("explain"):
            found["working"] = figure_json(explain(actor, batch=id))
        return found


class Weighings(Resource):
    """Weighing into a batch."""

    @writes(WeighingIn, WeighedOut, examples=examples.WEIGHING)
    def post(self, actor: Actor, data: dict[str, Any], id: str) -> dict[str, Any]:
        """Weigh a lot into a batch: for a line, or as an addition that no line lists."""
        deviation = data.get("deviation")
        done = weighing.weigh(
            actor,
            batch=id,
            line=data.get("line"),
            lot=data.get("lot"),
            material=data.get("material"),
            quantity=data["quantity"],
            happened_at=data.get("happened_at", self.now),
            deviation=deviation["reason"] if deviation else "",
        )
        return weighed_json(actor, done)


class WeighBacks(Resource):
    """Weighing back out of a batch."""

    @writes(WeighBackIn, WeighedOut)
    def post(self, actor: Actor, data: dict[str, Any], id: str) -> dict[str, Any]:
        """Weigh what is left over back to its lot, at the value that it went in with."""
        done = weighing.weigh_back(actor, batch=id, **{"happened_at": self.now, **data})
        return weighed_json(actor, done)


class Finishes(Resource):
    """Finishing a batch."""

    @writes(FinishIn, FinishedOut, examples=examples.FINISH)
    def post(self, actor: Actor, data: dict[str, Any], id: str) -> dict[str, Any]:
        """Finish a batch: what was weighed in becomes one lot, with its cost and yield."""
        loss, release = data.get("abnormal_loss"), data.get("release")
        done = finishing.finish(
            actor,
            batch=id,
            output=data["output"],
            units=data.get("units"),
            happened_at=data.get("happened_at", self.now),
            samples=samples_of(data),
            abnormal_loss=AbnormalLoss(**loss) if loss else None,
            marc=data.get("marc"),
            by_products=by_products_in(data),
            joint=joint_in(data),
            release_basis=release and release["basis"],
            labour_minutes=data.get("labour_minutes"),
            label_version=data.get("label_version", ""),
        )
        return finished_json(actor, done.batch, done.status, done.cost, done.yielded)


class Cancellations(Resource):
    """Cancelling a batch."""

    @writes(CancelIn, BatchOut)
    def post(self, actor: Actor, data: dict[str, Any], id: str) -> dict[str, Any]:
        """Cancel a planned batch: promises are given back, and what was weighed goes home."""
        batch = batches.cancel_batch(
            actor,
            batch=id,
            reason=data["reason"],
            happened_at=data.get("happened_at", self.now),
        )
        return _shown(actor, batch.id)


def _shown(actor: Actor, id: Any) -> dict[str, Any]:
    return batch_json(actor, find(with_details(batches_of(actor)), id))
