"""Every path of the API."""

from django.urls import path

from api.rest import catalogue, entries, issues, lots, receipts, stock, tokens

urlpatterns = [
    path("tokens", tokens.Tokens.as_view()),
    path("tokens/current", tokens.CurrentToken.as_view()),
    path("materials", catalogue.Materials.as_view()),
    path("materials/<str:id>", catalogue.OneMaterial.as_view()),
    path("suppliers", catalogue.Suppliers.as_view()),
    path("suppliers/<str:id>", catalogue.OneSupplier.as_view()),
    path("receipts", receipts.Receipts.as_view()),
    path("lots", lots.Lots.as_view()),
    path("lots/<str:id>", lots.OneLot.as_view()),
    path("lots/<str:id>/decisions", lots.Decisions.as_view()),
    path("stock", stock.Stock.as_view()),
    path("watches", stock.Watches.as_view()),
    path("watches/<str:material>", stock.OneWatch.as_view()),
    path("alerts", stock.Alerts.as_view()),
    path("opening-stock", issues.OpeningStock.as_view()),
    path("issues", issues.Issues.as_view()),
    path("sales", issues.Sales.as_view()),
    path("customer-returns", issues.CustomerReturns.as_view()),
    path("supplier-returns", issues.SupplierReturns.as_view()),
    path("entries", entries.Entries.as_view()),
    path("entries/<str:id>", entries.OneEntry.as_view()),
    path("entries/<str:id>/reversal", entries.Reversals.as_view()),
]
