"""All addresses."""

from django.contrib.auth import views as auth
from django.urls import include, path

from registry.people.views import SignIn

urlpatterns = [
    path("sign-in/", SignIn.as_view(), name="login"),
    path("sign-out/", auth.LogoutView.as_view(), name="logout"),
    path("", include("servicing.due.urls")),
    path("retests/", include("servicing.hydrostatic.urls")),
    path("filling/", include("servicing.filling.urls")),
    path("", include("servicing.oversight.urls")),
    path("bench/", include("servicing.bench.urls")),
    path("papers/", include("reports.documents.urls")),
]
