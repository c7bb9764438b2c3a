"""Addresses of sets and what is fitted to them."""

from django.urls import path

from servicing.desk.sets import views

urlpatterns = [
    path("items/<int:pk>/parts/", views.set_parts, name="set-parts"),
    path("items/<int:pk>/parts/<int:fitting>/out/", views.part_out, name="part-out"),
    path("items/<int:pk>/fittings/", views.set_past, name="fittings"),
    path("sets/", views.set_list, name="set-list"),
]
