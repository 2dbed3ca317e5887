"""Addresses of jobs, contractors and people."""

from django.urls import path

from inspections.views import job_link, jobs, people

urlpatterns = [
    path("jobs/", jobs.jobs, name="jobs"),
    path("jobs/new/", jobs.job_new_page, name="job_new"),
    path("jobs/<int:pk>/", jobs.job, name="job"),
    path("jobs/<int:pk>/take-back/", jobs.job_take_back, name="job_take_back"),
    path("jobs/<int:pk>/link/", jobs.job_link_new, name="job_link_new"),
    path("jobs/<int:pk>/sheet.pdf", jobs.job_sheet, name="job_sheet"),
    path("jobs/<int:pk>/visit.ics", jobs.job_visit, name="job_visit"),
    path("j/<str:token>/", job_link.job_link, name="job_link"),
    path("j/<str:token>/evidence/<int:number>/", job_link.job_link_evidence, name="job_link_evidence"),
    path("contractors/", people.contractors, name="contractors"),
    path("contractors/add/", people.contractor_add, name="contractor_add"),
    path("contractors/<int:pk>/", people.contractor, name="contractor"),
    path("contractors/<int:pk>/change/", people.contractor_change, name="contractor_change"),
    path("contractors/<int:pk>/registrations/add/", people.registration_add, name="registration_add"),
    path("registrations/<int:pk>/change/", people.registration_change, name="registration_change"),
    path("registrations/<int:pk>/withdraw/", people.registration_withdraw, name="registration_withdraw"),
    path("people/", people.people, name="people"),
    path("people/<int:pk>/competences/add/", people.competence_add, name="competence_add"),
    path("competences/<int:pk>/withdraw/", people.competence_withdraw, name="competence_withdraw"),
]
