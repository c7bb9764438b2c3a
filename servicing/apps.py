"""What must be done, and what was done."""

from django.apps import AppConfig
from django.db.models.signals import post_migrate


class ServicingConfig(AppConfig):
    name = "servicing"

    def ready(self) -> None:
        """Have the ledger and the versions of rules and procedures guarded, and make the roles."""
        from registry.people.actions import make_roles  # noqa: PLC0415 (models load first)
        from registry.trail.guards import guard  # noqa: PLC0415
        from servicing.bench.models import ProcedureVersion, TypeLimit  # noqa: PLC0415
        from servicing.ledger.models import Measured, Record, Signature  # noqa: PLC0415
        from servicing.papers.models import Carried, Paper  # noqa: PLC0415
        from servicing.rules.models import (  # noqa: PLC0415
            DECIDING,
            Adoption,
            Inclusion,
            RuleProposal,
            RuleVersion,
        )

        guard(Record)
        guard(Signature)
        guard(Measured)
        guard(Paper)
        guard(Carried)
        guard(RuleVersion, closes="replaced_at")
        guard(Inclusion, closes="replaced_at")
        guard(Adoption, closes="ended_at")
        guard(RuleProposal, closes="decided_at", along=DECIDING)
        guard(ProcedureVersion, closes="replaced_at")
        guard(TypeLimit, closes="ended_at")
        post_migrate.connect(make_roles, sender=self)
