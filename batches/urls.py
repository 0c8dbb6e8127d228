"""Addresses of the batches floor."""

from django.urls import path, register_converter

from batches.api import batches, documents, formulas, imports, plans, reckoning, records
from batches.api.references import FormulaCode
from batches.pages import batch as batch_pages
from batches.pages import (
    bench,
    bench_corrections,
    demo,
    finding,
    formula_editor,
    formula_import,
    planning,
    today,
)
from batches.pages import documents as document_pages
from batches.pages import formulas as formula_pages
from batches.pages import records as record_pages

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
    path("batches/<str:number>/ask-keepers/", batches.BatchAskKeepers.as_view()),
    path("batches/<str:number>/weighings/", batches.BatchWeighings.as_view()),
    path("batches/<str:number>/weighings/<int:weighing_id>/strike/", batches.WeighingStrike.as_view()),
    path("batches/<str:number>/overpour/", batches.BatchOverpour.as_view()),
    path("batches/<str:number>/close/", batches.BatchClose.as_view()),
    path("batches/<str:number>/void/", batches.BatchVoid.as_view()),
    path("batches/<str:number>/ticket/", documents.BatchTicket.as_view()),
    path("documents/", documents.DocumentList.as_view()),
    path("documents/<int:document_id>/", documents.DocumentDetail.as_view()),
    path("documents/<int:document_id>/file/", documents.DocumentFile.as_view()),
    path("labels/", documents.Labels.as_view()),
    path("lots/<str:number>/label/", documents.LotLabel.as_view()),
    path("lots/<str:number>/recall/", documents.LotRecall.as_view()),
    path("shelves/<int:shelf_id>/count-list/", documents.ShelfCountList.as_view()),
    path("batches/<str:number>/record/", records.BatchRecord.as_view()),
    path("batches/<str:number>/sign/", records.BatchSign.as_view()),
    path("batches/<str:number>/amend/", records.BatchAmend.as_view()),
]
urlpatterns = [
    path("", today.today, name="home"),
    path("find/", finding.find, name="find"),
    path("demo/", demo.load, name="load-demo"),
    path("formulas/", formula_pages.formulas, name="formulas"),
    path("formulas/<code:code>/", formula_pages.formula, name="formula"),
    path("formulas/<code:code>/change/", formula_pages.change, name="change-formula"),
    path("formulas/<code:code>/compare/", formula_pages.compare, name="compare-versions"),
    path("formulas/<code:code>/<int:number>/", formula_pages.version, name="formula-version"),
    path("formulas/<code:code>/<int:number>/edit/", formula_editor.edit_version, name="edit-version"),
    path("formulas/<code:code>/<int:number>/adopt/", formula_pages.adopt, name="adopt-version"),
    # A formula may have any word for its code, so what is not one of them stands beside them.
    path("formula-new/", formula_editor.new_formula, name="new-formula"),
    path("formula-import/", formula_import.import_page, name="import-formulas"),
    path("formula-figures/", formula_editor.figures, name="formula-figures"),
    path("formula-pasted/", formula_editor.pasted, name="formula-pasted"),
    path("batches/", batch_pages.batches, name="batches"),
    path("batches/plan/", planning.plan_batch, name="plan-batch"),
    path("batches/plan-stock/", planning.plan_stock, name="plan-stock"),
    path("batches/<str:number>/", batch_pages.batch, name="batch"),
    path("batches/<str:number>/plan/", batch_pages.plan, name="plan-again"),
    path("batches/<str:number>/instead/", planning.plan_instead, name="plan-instead"),
    path("batches/<str:number>/reserve/", batch_pages.reserve, name="reserve-batch"),
    path("batches/<str:number>/ask-keepers/", batch_pages.ask, name="ask-keepers"),
    path("batches/<str:number>/day/", batch_pages.to_day, name="date-batch"),
    path("batches/<str:number>/void/", batch_pages.void, name="void-batch"),
    path("batches/<str:number>/ticket/", document_pages.print_ticket, name="print-ticket"),
    path("documents/", document_pages.documents, name="documents"),
    path("documents/<int:document_id>/", document_pages.document, name="document"),
    path("documents/<int:document_id>/file/", document_pages.file, name="document-file"),
    path("labels/", document_pages.print_labels, name="print-labels"),
    path("lots/<str:number>/recall/", document_pages.print_recall, name="print-recall"),
    path("places/<int:shelf_id>/count-list/", document_pages.print_count_list, name="print-count-list"),
    path("batches/<str:number>/sign/", record_pages.sign, name="sign-batch"),
    path("batches/<str:number>/amend/", record_pages.amend, name="amend-batch"),
    path("batches/<str:number>/bench/", bench.bench, name="bench"),
    path("batches/<str:number>/bench/live/", bench.told, name="bench-live"),
    path("batches/<str:number>/bench/lot/", bench.lot, name="bench-lot"),
    path("batches/<str:number>/bench/weighings/", bench.weigh, name="bench-weigh"),
    path(
        "batches/<str:number>/bench/weighings/<int:weighing_id>/strike/",
        bench_corrections.strike,
        name="bench-strike",
    ),
    path("batches/<str:number>/bench/way-on/", bench.way, name="bench-way"),
    path("batches/<str:number>/bench/gloves/", bench.gloves, name="bench-gloves"),
    path("batches/<str:number>/bench/close/", bench_corrections.close, name="bench-close"),
]
