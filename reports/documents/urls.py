"""Addresses of papers."""

from django.urls import path

from reports.documents import views
from reports.documents.actions import PAPERS

urlpatterns = [
    path("", views.paper_list, name="paper-list"),
    path("due.pdf", views.due_list_view, name="due-pdf"),
    path("overdue.pdf", views.overdue_view, name="overdue-pdf"),
    *(
        path(
            f"{paper.about.path}/{paper.name}.pdf",
            views.paper_view,
            {"paper": paper},
            name=f"{paper.name}-pdf",
        )
        for paper in PAPERS
    ),
]
