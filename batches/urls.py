"""Addresses of the batches floor."""

from django.urls import path

from batches.api import batches, formulas, imports, reckoning

api_urlpatterns = [
    path("formulas/", formulas.FormulaList.as_view()),
    path("formulas/import/", imports.FormulaImport.as_view()),
    path("formulas/<str:code>/", formulas.FormulaDetail.as_view()),
    path("formulas/<str:code>/versions/", formulas.VersionList.as_view()),
    path("formulas/<str:code>/versions/<int:number>/", formulas.VersionDetail.as_view()),
    path("formulas/<str:code>/versions/<int:number>/diff/", formulas.VersionDiff.as_view()),
    path("formulas/<str:code>/versions/<int:number>/adopt/", formulas.VersionAdopt.as_view()),
    path(
        "formulas/<str:code>/versions/<int:number>/strength/", reckoning.VersionStrengthView.as_view()
    ),
    path("stock-routes/", reckoning.StockRoute.as_view()),
    path("grids/layout/", reckoning.GridLayout.as_view()),
    path("batches/", batches.BatchList.as_view()),
    path("batches/<str:number>/", batches.BatchDetail.as_view()),
    path("batches/<str:number>/reserve/", batches.BatchReserve.as_view()),
    path("batches/<str:number>/weighings/", batches.BatchWeighings.as_view()),
    path("batches/<str:number>/weighings/<int:weighing_id>/strike/", batches.WeighingStrike.as_view()),
    path("batches/<str:number>/overpour/", batches.BatchOverpour.as_view()),
    path("batches/<str:number>/close/", batches.BatchClose.as_view()),
    path("batches/<str:number>/void/", batches.BatchVoid.as_view()),
    path("batches/<str:number>/record/", batches.BatchRecord.as_view()),
]
urlpatterns: list[object] = []
