"""Addresses of consignments and hydrostatic tests."""

from django.urls import path

from servicing.desk.retests.views import consignments, moving, own, packing, results, stamps

urlpatterns = [
    path("", consignments.consignment_list, name="consignment-list"),
    path("add/", packing.consignment_add, name="consignment-add"),
    path("<int:pk>/", consignments.consignment_page, name="consignment"),
    path("<int:pk>/change/", packing.consignment_change, name="consignment-change"),
    path("<int:pk>/move/", moving.consignment_move, name="consignment-move"),
    path("<int:pk>/list.csv", consignments.consignment_csv, name="consignment-csv"),
    path("<int:pk>/results/", results.consignment_results, name="consignment-results"),
    path("cylinders/<int:pk>/result/", results.result_add, name="result-add"),
    path("cylinders/<int:pk>/back/", moving.consigned_back, name="consigned-back"),
    path("results/<int:pk>/settle/", results.result_settle, name="result-settle"),
    path("stamps/", stamps.stamp_list, name="stamp-list"),
    path("items/<int:pk>/test/", own.own_test, name="own-test"),
]
