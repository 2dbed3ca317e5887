"""Addresses of the pages about defects."""

from django.urls import path

from inspections.views import defects

urlpatterns = [
    path("homes/<int:pk>/defects/", defects.defects, name="defects"),
    path("homes/<int:pk>/defects/add/", defects.defect_add, name="defect_add"),
    path("homes/<int:pk>/defects/none/", defects.nothing_found, name="nothing_found"),
    path("defects/<int:pk>/done/", defects.defect_claim_done, name="defect_claim_done"),
    path("defects/<int:pk>/confirm/", defects.defect_confirm, name="defect_confirm"),
]
