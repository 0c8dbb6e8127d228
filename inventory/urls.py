"""Addresses of the inventory floor."""

from django.urls import path

from inventory.api import imports, lots, materials, movements, places, reckoning, sharing
from inventory.pages import balances as balance_pages
from inventory.pages import handling, sheets
from inventory.pages import lot as lot_pages
from inventory.pages import materials as material_pages
from inventory.pages import sharing as sharing_pages
from inventory.pages import shelf as shelf_pages

api_urlpatterns = [
    path("materials/", materials.MaterialList.as_view()),
    path("materials/import/", imports.MaterialImport.as_view()),
    path("materials/<int:material_id>/", materials.MaterialDetail.as_view()),
    path("materials/<int:material_id>/solubilities/", materials.MaterialSolubilities.as_view()),
    path("shelves/", places.ShelfList.as_view()),
    path("shelves/<int:shelf_id>/", places.ShelfDetail.as_view()),
    path("balances/", places.BalanceList.as_view()),
    path("balances/<int:balance_id>/", places.BalanceDetail.as_view()),
    path("balances/<int:balance_id>/checks/", places.BalanceCheckList.as_view()),
    path("bottles/", lots.BottleList.as_view()),
    path("bottles/import/", imports.BottleImport.as_view()),
    path("lots/", lots.LotList.as_view()),
    path("lots/<str:number>/", lots.LotDetail.as_view()),
    path("lots/<str:number>/contents/", lots.LotContents.as_view()),
    path("lots/<str:number>/cautions/", lots.LotCautions.as_view()),
    path("lots/<str:number>/trace/", lots.LotTrace.as_view()),
    path("lots/<str:number>/claims/", lots.LotClaims.as_view()),
    path("lots/<str:number>/volume/", reckoning.LotVolumeView.as_view()),
    path("lots/<str:number>/certainty/", reckoning.LotCertainty.as_view()),
    path("lots/<str:number>/count/", lots.LotCount.as_view()),
    path("lots/<str:number>/discard/", lots.LotDiscard.as_view()),
    path("lots/<str:number>/hold/", lots.LotHold.as_view()),
    path("lots/<str:number>/release/", lots.LotRelease.as_view()),
    path("lots/<str:number>/draw-off/", lots.LotDrawOff.as_view()),
    path("lots/<str:number>/move/", lots.LotMove.as_view()),
    path("lots/<str:number>/lend/", sharing.LotLend.as_view()),
    path("requests/", sharing.RequestList.as_view()),
    path("requests/<int:request_id>/", sharing.RequestDetail.as_view()),
    path("requests/<int:request_id>/grant/", sharing.RequestGrant.as_view()),
    path("requests/<int:request_id>/decline/", sharing.RequestDecline.as_view()),
    path("requests/<int:request_id>/withdraw/", sharing.RequestWithdraw.as_view()),
    path("loans/", sharing.LoanList.as_view()),
    path("loans/<int:loan_id>/", sharing.LoanDetail.as_view()),
    path("loans/<int:loan_id>/return/", sharing.LoanReturn.as_view()),
    path("ethanol-water/", reckoning.EthanolWater.as_view()),
    path("movements/", movements.MovementList.as_view()),
    path("movements/<int:movement_id>/", movements.MovementDetail.as_view()),
    path("movements/<int:movement_id>/reverse/", movements.MovementReverse.as_view()),
]
urlpatterns = [
    path("shelf/", shelf_pages.shelf, name="shelf"),
    path("shelf/receive/", shelf_pages.receive, name="receive"),
    path("shelf/import/", sheets.import_bottles, name="import-bottles"),
    path("places/", shelf_pages.places, name="places"),
    path("places/new/", shelf_pages.new_place, name="new-place"),
    path("lots/<str:number>/", lot_pages.lot, name="lot"),
    path("lots/<str:number>/trace/", lot_pages.trace, name="lot-trace"),
    path("lots/<str:number>/draw-off/", handling.draw, name="lot-draw-off"),
    path("lots/<str:number>/count/", handling.count, name="lot-count"),
    path("lots/<str:number>/discard/", handling.throw_away, name="lot-discard"),
    path("lots/<str:number>/hold/", handling.hold, name="lot-hold"),
    path("lots/<str:number>/release/", handling.release, name="lot-release"),
    path("lots/<str:number>/move/", handling.move, name="lot-move"),
    path("lots/<str:number>/ask/", sharing_pages.ask, name="ask-for-lot"),
    path("lots/<str:number>/lend/", sharing_pages.lend_lot, name="lend-lot"),
    path("team/", sharing_pages.team, name="team"),
    path("requests/<int:request_id>/grant/", sharing_pages.grant, name="grant-request"),
    path("requests/<int:request_id>/decline/", sharing_pages.decline, name="decline-request"),
    path("requests/<int:request_id>/withdraw/", sharing_pages.withdraw, name="withdraw-request"),
    path("loans/<int:loan_id>/return/", sharing_pages.bring_back, name="bring-back"),
    path("materials/", material_pages.materials, name="materials"),
    path("materials/new/", material_pages.new_material, name="new-material"),
    path("materials/import/", sheets.import_materials, name="import-materials"),
    path("materials/<int:material_id>/", material_pages.material, name="material"),
    path("materials/<int:material_id>/change/", material_pages.change, name="change-material"),
    path("balances/", balance_pages.balances, name="balances"),
    path("balances/new/", balance_pages.new_balance, name="new-balance"),
    path("balances/<int:balance_id>/", balance_pages.balance, name="balance"),
    path("balances/<int:balance_id>/check/", balance_pages.check, name="check-balance"),
]
