"""Addresses of the bench."""

from django.urls import path

from servicing.desk.bench.views import (
    batch,
    batch_signing,
    guided,
    instruments,
    limits,
    serving,
    signing,
    thrown,
)

urlpatterns = [
    path("batch/", batch.batch_start, name="bench-batch-start"),
    path("batch/<int:pk>/", batch.batch_page, name="bench-batch"),
    path("batch/<int:pk>/check/", batch_signing.batch_check, name="bench-batch-check"),
    path("batch/<int:pk>/done/", batch_signing.batch_done, name="bench-batch-done"),
    path("batch/<int:pk>/throw-away/", thrown.batch_away, name="bench-batch-away"),
    path("thrown/", thrown.thrown, name="bench-thrown"),
    path("instruments/<int:pk>/", instruments.instrument_records, name="instrument-records"),
    path("instruments/<int:pk>/list.csv", instruments.instrument_csv, name="instrument-csv"),
    path("types/<int:pk>/limits/", limits.type_limits_page, name="type-limits"),
    path("types/<int:pk>/serves/", serving.type_serving, name="type-serving"),
    path("<int:pk>/<slug:task>/", guided.guided, name="bench"),
    path("<int:pk>/<slug:task>/check/", signing.check, name="bench-check"),
    path("<int:pk>/<slug:task>/put-aside/", thrown.put_aside, name="bench-aside"),
]
