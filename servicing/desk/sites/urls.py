"""Addresses of sites."""

from django.urls import path

from servicing.desk.sites import views

urlpatterns = [
    path("sites/", views.site_list, name="site-list"),
    path("sites/add/", views.site_add, name="site-add"),
    path("sites/<int:pk>/edit/", views.site_edit, name="site-edit"),
]
