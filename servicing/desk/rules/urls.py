"""Addresses of rules, published facts and rules of a site's own."""

from django.urls import path

from servicing.desk.rules.views import local_rules, rules

urlpatterns = [
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
