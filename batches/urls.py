"""Addresses of the batches floor."""

from django.urls import path, register_converter

from batches.api import batches, formulas, imports, plans, reckoning
from batches.api.references import FormulaCode
from batches.pages import demo, finding, today

register_converter(FormulaCode, "code")

api_urlpatterns = [
    path("formulas/", formulas.FormulaList.as_view()),
    path("formulas/import/", imports.FormulaImport.as_view()),
    path("formulas/<code:code>/", formulas.FormulaDetail.as_view()),
    path("formulas/<code:code>/versions/", formulas.VersionList.as_view()),
    path("formulas/<code:code>/versions/<int:number>/", formulas.VersionDetail.as_view()),
    path("formulas/<code:code>/versions/<int:number>/diff/", formulas.VersionDiff.as_view()),
    path("formulas/<code:code>/versions/<int:number>/adopt/", formulas.VersionAdopt.as_view()),
    path("formulas/<code:code>/versions/<int:number>/strength/", reckoning.VersionStrengthView.as_view()),
    path("stock-routes/", reckoning.StockRoute.as_view()),
    path("grids/layout/", reckoning.GridLayout.as_view()),
    path("batches/", batches.BatchList.as_view()),
    path("batches/<str:number>/", batches.BatchDetail.as_view()),
    path("batches/<str:number>/weigh-plan/", plans.BatchWeighPlan.as_view()),
    path("batches/<str:number>/other-lot/", plans.BatchOtherLot.as_view()),
    path("batches/<str:number>/reserve/", batches.BatchReserve.as_view()),
    path("batches/<str:number>/weighings/", batches.BatchWeighings.as_view()),
    path("batches/<str:number>/weighings/<int:weighing_id>/strike/", batches.WeighingStrike.as_view()),
    path("batches/<str:number>/overpour/", batches.BatchOverpour.as_view()),
    path("batches/<str:number>/close/", batches.BatchClose.as_view()),
    path("batches/<str:number>/void/", batches.BatchVoid.as_view()),
    path("batches/<str:number>/record/", batches.BatchRecord.as_view()),
]
urlpatterns = [
    path("", today.today, name="home"),
    path("find/", finding.find, name="find"),
    path("demo/", demo.load, name="load-demo"),
]
