"""All addresses."""

from django.contrib.auth import views as auth
from django.urls import include, path

from registry.people.views import SignIn

urlpatterns = [
    path("sign-in/", SignIn.as_view(), name="login"),
    path("sign-out/", auth.LogoutView.as_view(), name="logout"),
    path("", include("servicing.desk.work.urls")),
    path("", include("servicing.desk.item.urls")),
    path("", include("servicing.desk.sets.urls")),
    path("", include("servicing.desk.sites.urls")),
    path("", include("servicing.desk.rules.urls")),
    path("retests/", include("servicing.desk.retests.urls")),
    path("filling/", include("servicing.desk.filling.urls")),
    path("", include("servicing.desk.people.urls")),
    path("bench/", include("servicing.desk.bench.urls")),
    path("papers/", include("reports.documents.urls")),
]
