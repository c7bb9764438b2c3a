"""Addresses of the pages about items, obligations, sites and rules."""

from django.urls import path

from servicing.due.views import (
    corrections,
    find,
    home,
    items,
    ledger,
    lists,
    local_rules,
    rules,
    services,
    sets,
    sites,
    standing,
)

urlpatterns = [
    path("", home.home, name="home"),
    path("find/", find.find, name="find"),
    path("find/photo/", find.find_by_photo, name="find-photo"),
    path("due/", lists.due_list, name="due-list"),
    path("items/", lists.item_list, name="item-list"),
    path("items/add/", items.item_add, name="item-add"),
    path("items/<int:pk>/", items.item_page, name="item"),
    path("items/<int:pk>/edit/", items.item_edit, name="item-edit"),
    path("items/<int:pk>/service/", services.log_service_view, name="log-service"),
    path("items/<int:pk>/records/<int:position>/", services.record_page, name="record"),
    path("items/<int:pk>/parts/", sets.set_parts, name="set-parts"),
    path("items/<int:pk>/parts/<int:fitting>/out/", sets.part_out, name="part-out"),
    path("items/<int:pk>/fittings/", sets.set_past, name="fittings"),
    path("sets/", sets.set_list, name="set-list"),
    path(
        "items/<int:pk>/records/<int:position>/correct/",
        corrections.correct_view,
        name="correct-record",
    ),
    path("items/<int:pk>/standing/<slug:decision>/", standing.decide_view, name="decide"),
    path("ledger/check/", ledger.check_yourself, name="check-yourself"),
    path("types/", items.type_list, name="type-list"),
    path("types/<int:pk>/edit/", items.type_edit, name="type-edit"),
    path("sites/", sites.site_list, name="site-list"),
    path("sites/add/", sites.site_add, name="site-add"),
    path("sites/<int:pk>/edit/", sites.site_edit, name="site-edit"),
    path("rules/", rules.rule_list, name="rule-list"),
    path("rules/published/", rules.fact_list, name="fact-list"),
    path("rules/local/", local_rules.local_rule_list, name="local-rules"),
    path("rules/local/add/", local_rules.local_rule_add, name="local-rule-add"),
    path(
        "rules/local/<slug:rule_id>/change/",
        local_rules.local_rule_change,
        name="local-rule-change",
    ),
    path("rules/local/<slug:rule_id>/end/", local_rules.local_rule_end, name="local-rule-end"),
    path("rules/local/proposals/<int:pk>/", local_rules.local_rule_proposal, name="rule-proposal"),
]
