"""Addresses of the filling point."""

from django.urls import path

from servicing.desk.filling.views import air, point, rack

urlpatterns = [
    path("", point.filling_point, name="filling"),
    path("rack/", rack.filling_rack, name="filling-rack"),
    path("compressor/", point.filling_compressor, name="filling-compressor"),
    path("air/", air.air_page, name="air"),
]
