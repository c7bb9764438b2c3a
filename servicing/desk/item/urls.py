"""Addresses of items: finding, registering, their pages and types."""

from django.urls import path

from servicing.desk.item.views import find, items, lists, sheet

urlpatterns = [
    path("find/", find.find, name="find"),
    path("find/photo/", find.find_by_photo, name="find-photo"),
    path("items/", lists.item_list, name="item-list"),
    path("items/add/", items.item_add, name="item-add"),
    path("items/<int:pk>/", sheet.item_page, name="item"),
    path("items/<int:pk>/sheet.json", sheet.item_json, name="item-json"),
    path("items/<int:pk>/edit/", items.item_edit, name="item-edit"),
    path("types/", items.type_list, name="type-list"),
    path("types/<int:pk>/edit/", items.type_edit, name="type-edit"),
]
