"""The addresses of the makers' screens."""

from django.urls import path

from api.pages import (
    batches,
    formula_writing,
    formulas,
    lots,
    materials,
    receipts,
    signing_in,
    today,
    traces,
)

urlpatterns = [
    path("", today.Today.as_view()),
    path("sign-in", signing_in.SignIn.as_view()),
    path("sign-out", signing_in.SignOut.as_view()),
    path("makers", signing_in.Makers.as_view()),
    path("receive", receipts.Receive.as_view()),
    path("receipts/<uuid:id>", receipts.Receipt.as_view()),
    path("lots", lots.Lots.as_view()),
    path("lots/<uuid:id>", lots.Lot.as_view()),
    path("lots/<uuid:id>/working", lots.LotWorking.as_view()),
    path("lots/<uuid:id>/label", lots.LotLabel.as_view()),
    path("materials", materials.Materials.as_view()),
    path("materials/new", materials.NewMaterial.as_view()),
    path("materials/<uuid:id>", materials.Material.as_view()),
    path("batches", batches.Batches.as_view()),
    path("batches/new", batches.Plan.as_view()),
    path("batches/<uuid:id>", batches.Batch.as_view()),
    path("batches/<uuid:id>/working", batches.BatchWorking.as_view()),
    path("batches/<uuid:id>/bench", batches.AtBench.as_view()),
    path("batches/<uuid:id>/finish", batches.Finish.as_view()),
    path("lots/<uuid:id>/trace", traces.Trace.as_view()),
    path("lots/<uuid:id>/recall-list", traces.RecallList.as_view()),
    path("formulas", formulas.Formulas.as_view()),
    path("formulas/new", formula_writing.NewFormula.as_view()),
    path("formulas/<uuid:id>", formulas.Formula.as_view()),
    path("formulas/<uuid:id>/next", formula_writing.NextVersion.as_view()),
    path("formulas/<uuid:id>/versions", formulas.Versions.as_view()),
    path("documents/<uuid:id>", lots.Paper.as_view()),
    path("look", signing_in.Look.as_view()),
]
