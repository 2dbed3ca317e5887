"""Addresses of the pages about defects."""

from django.urls import path, re_path

from inspections.views import defects, evidence, open_defects, proof, reports, visits

urlpatterns = [
    path("homes/<int:pk>/defects/", defects.defects, name="defects"),
    path("homes/<int:pk>/defects/add/", defects.defect_add, name="defect_add"),
    path("homes/<int:pk>/defects/none/", defects.nothing_found, name="nothing_found"),
    path("homes/<int:pk>/visits/", visits.visits, name="visits"),
    path("homes/<int:pk>/visits/begin/", visits.visit_begin, name="visit_begin"),
    path("visits/<uuid:pk>/", visits.visit, name="visit"),
    path("visits/<uuid:pk>/record/", visits.visit_record, name="visit_record"),
    path("visits/<uuid:pk>/state/", visits.visit_state, name="visit_state"),
    path("visit-worker.js", visits.visit_worker, name="visit_worker"),
    path("defects/", open_defects.open_defects, name="open_defects"),
    re_path(r"^defects\.(?P<form>csv|xlsx)$", open_defects.defects_download, name="defects_download"),
    path("defects/<int:pk>/", defects.defect, name="defect"),
    path("defects/<int:pk>/safe/", defects.defect_made_safe, name="defect_made_safe"),
    path("defects/<int:pk>/send-back/", defects.defect_send_back, name="defect_send_back"),
    path("defects/<int:pk>/class/", defects.defect_recode, name="defect_recode"),
    path("defects/<int:pk>/describe/", defects.defect_describe, name="defect_describe"),
    path("proof/", proof.proof, name="proof"),
    path("certificates/<int:pk>/observations/", reports.observations, name="observations"),
    path("defects/<int:pk>/done/", defects.defect_claim_done, name="defect_claim_done"),
    path("defects/<int:pk>/confirm/", defects.defect_confirm, name="defect_confirm"),
    path("defects/<int:pk>/evidence/add/", evidence.evidence_add, name="evidence_add"),
    path("evidence/<int:pk>/", evidence.evidence_preview, name="evidence_preview"),
    path("evidence/<int:pk>/original/", evidence.evidence_original, name="evidence_original"),
    path("evidence/<int:pk>/withdraw/", evidence.evidence_withdraw, name="evidence_withdraw"),
]
