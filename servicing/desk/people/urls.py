"""Addresses of the trail, its review, people, and health."""

from django.urls import path

from servicing.desk.people.views import health, ledger, people, trail

urlpatterns = [
    path("ledger/check/", ledger.check_yourself, name="check-yourself"),
    path("trail/", trail.trail_page, name="trail"),
    path("trail/list.csv", trail.trail_csv, name="trail-csv"),
    path("trail/review/", trail.review, name="trail-review"),
    path("account/", people.own_account, name="own-account"),
    path("people/", people.people_list, name="people"),
    path("people/tasks/", people.who_may_page, name="who-may"),
    path("people/add/", people.person_add, name="person-add"),
    path("people/<int:pk>/", people.person_page, name="person"),
    path("people/<int:pk>/edit/", people.person_edit, name="person-edit"),
    path("people/<int:pk>/close/", people.person_close, name="person-close"),
    path("people/<int:pk>/password/", people.person_password, name="person-password"),
    path("people/<int:pk>/authorise/", people.person_authorise, name="person-authorise"),
    path("people/authorisations/<int:pk>/end/", people.authorisation_end, name="authorisation-end"),
    path("live", health.live, name="live"),
    path("ready", health.ready, name="ready"),
]
