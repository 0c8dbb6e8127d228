"""Addresses of the inventory floor."""

from django.urls import path

from inventory.api import imports, lots, materials, movements, places, reckoning

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
    path("ethanol-water/", reckoning.EthanolWater.as_view()),
    path("movements/", movements.MovementList.as_view()),
    path("movements/<int:movement_id>/", movements.MovementDetail.as_view()),
    path("movements/<int:movement_id>/reverse/", movements.MovementReverse.as_view()),
]
urlpatterns: list[object] = []
