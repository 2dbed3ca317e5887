"""Addresses of the pages about defects."""

from django.urls import path

from inspections.views import defects, evidence

urlpatterns = [
    path("homes/<int:pk>/defects/", defects.defects, name="defects"),
    path("homes/<int:pk>/defects/add/", defects.defect_add, name="defect_add"),
    path("homes/<int:pk>/defects/none/", defects.nothing_found, name="nothing_found"),
    path("defects/<int:pk>/done/", defects.defect_claim_done, name="defect_claim_done"),
    path("defects/<int:pk>/confirm/", defects.defect_confirm, name="defect_confirm"),
    path("defects/<int:pk>/evidence/add/", evidence.evidence_add, name="evidence_add"),
    path("evidence/<int:pk>/", evidence.evidence_preview, name="evidence_preview"),
    path("evidence/<int:pk>/original/", evidence.evidence_original, name="evidence_original"),
    path("evidence/<int:pk>/withdraw/", evidence.evidence_withdraw, name="evidence_withdraw"),
]
