"""Addresses of the site."""

from django.conf import settings
from django.urls import include, path, re_path
from django.views.generic import RedirectView

from portfolio.views import (
    calendar,
    certificates,
    clearances,
    documents,
    duties,
    facts,
    health,
    home,
    homes,
    landlords,
    law,
    policy,
    sheets,
    what_if,
)

urlpatterns = [
    path("", homes.homes, name="homes"),
    re_path(r"^homes\.(?P<form>csv|xlsx)$", homes.homes_download, name="homes_download"),
    path("homes/<int:pk>/", home.home, name="home"),
    path("homes/<int:pk>/events/", home.home_events, name="home_events"),
    path("homes/<int:pk>/facts/", facts.home_facts, name="home_facts"),
    path("homes/<int:pk>/tenancies/add/", facts.tenancy_add, name="tenancy_add"),
    path("homes/<int:pk>/marketing/add/", facts.marketing_add, name="marketing_add"),
    path("homes/<int:pk>/acts/add/", facts.act_add, name="act_add"),
    path("homes/<int:pk>/acts/none/", facts.acts_none, name="acts_none"),
    path("homes/<int:pk>/certificates/add/", certificates.certificate_add, name="certificate_add"),
    path("homes/<int:pk>/mark/", clearances.mark, name="mark"),
    path("homes/<int:pk>/unmark/", clearances.unmark, name="unmark"),
    path("landlords/<int:pk>/change/", landlords.landlord_change, name="landlord_change"),
    path("tenancies/<int:pk>/end/", facts.tenancy_end, name="tenancy_end"),
    path("certificates/<int:pk>/correct/", certificates.certificate_correct, name="certificate_correct"),
    path("certificates/<int:pk>/files/add/", certificates.document_add, name="document_add"),
    path("documents/<int:pk>/", documents.document, name="document"),
    path("import/", sheets.sheet_import_list, name="sheet_import_list"),
    re_path(r"^import/blank\.(?P<form>csv|xlsx)$", sheets.sheet_template, name="sheet_template"),
    path("import/<int:pk>/", sheets.sheet_import, name="sheet_import"),
    path("import/<int:pk>/take/", sheets.sheet_take, name="sheet_take"),
    path("import/<int:pk>/leave/", sheets.sheet_leave, name="sheet_leave"),
    path("import/<int:pk>/again/", sheets.sheet_again, name="sheet_again"),
    re_path(r"^import/(?P<pk>\d+)/faults\.(?P<form>csv|xlsx)$", sheets.sheet_faults, name="sheet_faults"),
    path("policy/", policy.policy, name="policy"),
    path("policy/change/", policy.policy_change, name="policy_change"),
    path("duties/", duties.duties, name="duties"),
    re_path(r"^duties\.(?P<form>csv|xlsx)$", duties.duties_download, name="duties_download"),
    path(
        "", include("notifications.urls_feed")
    ),  # before the months, which would take calendar/feed/ for one
    path("calendar/", calendar.calendar, name="calendar"),
    path("calendar/<str:month>/", calendar.calendar_month, name="calendar_month"),
    path("what-if/", what_if.what_if, name="what_if"),
    path("law/", law.law, name="law"),
    path("law/<slug:slug>/", law.law_nation, name="law_nation"),
    path("", include("inspections.urls")),
    path("", include("inspections.urls_jobs")),
    path("", include("notifications.urls")),
    path("", include("notifications.urls_papers")),
    # The agency makes and changes log-ins, so nobody changes the address of their own.
    path("account/email/", RedirectView.as_view(pattern_name="mfa_index"), name="own_email"),
    path("account/", include("allauth.urls")),
    path("healthz", health.healthz, name="healthz"),
]
if settings.SNECK_DEMO:
    urlpatterns.append(path("mail/", include("portfolio.demo.urls")))
