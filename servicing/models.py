"""Where Django looks for the models; they live with their subjects."""

from servicing.away.models import Consigned, Consignment
from servicing.bench.models import Batch, Draft, ProcedureVersion, TypeLimit
from servicing.due.models import DueSpan, StoredBar, StoredObligation
from servicing.hydrostatic.models import Result
from servicing.ledger.models import Measured, Record, Signature
from servicing.papers.models import Carried, Paper
from servicing.rules.models import Adoption, Inclusion, RuleProposal, RuleTable, RuleVersion

__all__ = [
    "Adoption",
    "Batch",
    "Carried",
    "Consigned",
    "Consignment",
    "Draft",
    "DueSpan",
    "Inclusion",
    "Measured",
    "Paper",
    "ProcedureVersion",
    "Record",
    "Result",
    "RuleProposal",
    "RuleTable",
    "RuleVersion",
    "Signature",
    "StoredBar",
    "StoredObligation",
    "TypeLimit",
]
