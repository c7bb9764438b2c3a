"""Addresses of papers."""

from django.urls import path

from reports.documents import views

urlpatterns = [
    path("", views.paper_list, name="paper-list"),
    path("due.pdf", views.due_list_view, name="due-pdf"),
    path("overdue.pdf", views.overdue_view, name="overdue-pdf"),
    path("items/<int:pk>/record.pdf", views.record_view, name="record-pdf"),
    path("items/<int:pk>/set.pdf", views.set_view, name="set-pdf"),
    path("consignments/<int:pk>/list.pdf", views.consignment_view, name="consignment-pdf"),
]
