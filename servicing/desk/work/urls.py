"""Addresses of what falls due, and of services, corrections and decisions."""

from django.urls import path

from servicing.desk.work.views import corrections, doubts, home, lists, services, standing

urlpatterns = [
    path("", home.home, name="home"),
    path("due/", lists.due_list, name="due-list"),
    path("items/<int:pk>/service/", services.log_service_view, name="log-service"),
    path("items/<int:pk>/records/<int:position>/", services.record_page, name="record"),
    path("items/<int:pk>/records/<int:position>/stands/", doubts.let_stand_view, name="let-stand"),
    path(
        "items/<int:pk>/records/<int:position>/correct/",
        corrections.correct_view,
        name="correct-record",
    ),
    path("items/<int:pk>/standing/<slug:decision>/", standing.decide_view, name="decide"),
]
