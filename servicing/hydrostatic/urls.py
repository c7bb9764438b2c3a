"""Addresses of consignments and hydrostatic tests."""

from django.urls import path

from servicing.hydrostatic import views

urlpatterns = [
    path("", views.consignment_list, name="consignment-list"),
    path("add/", views.consignment_add, name="consignment-add"),
    path("<int:pk>/", views.consignment_page, name="consignment"),
    path("<int:pk>/change/", views.consignment_change, name="consignment-change"),
    path("<int:pk>/move/", views.consignment_move, name="consignment-move"),
    path("<int:pk>/list.csv", views.consignment_csv, name="consignment-csv"),
    path("<int:pk>/results/", views.consignment_results, name="consignment-results"),
    path("cylinders/<int:pk>/result/", views.result_add, name="result-add"),
    path("results/<int:pk>/settle/", views.result_settle, name="result-settle"),
    path("items/<int:pk>/test/", views.own_test, name="own-test"),
]
