"""Addresses of consignments and hydrostatic tests."""

from django.urls import path

from servicing.desk.retests.views import consignments, own

urlpatterns = [
    path("", consignments.consignment_list, name="consignment-list"),
    path("add/", consignments.consignment_add, name="consignment-add"),
    path("<int:pk>/", consignments.consignment_page, name="consignment"),
    path("<int:pk>/change/", consignments.consignment_change, name="consignment-change"),
    path("<int:pk>/move/", consignments.consignment_move, name="consignment-move"),
    path("<int:pk>/list.csv", consignments.consignment_csv, name="consignment-csv"),
    path("<int:pk>/results/", consignments.consignment_results, name="consignment-results"),
    path("cylinders/<int:pk>/result/", consignments.result_add, name="result-add"),
    path("cylinders/<int:pk>/back/", consignments.consigned_back, name="consigned-back"),
    path("results/<int:pk>/settle/", consignments.result_settle, name="result-settle"),
    path("items/<int:pk>/test/", own.own_test, name="own-test"),
]
