"""Where Django looks for the models; they live with their subjects."""

from servicing.bench.models import Batch, Draft, ProcedureVersion, TypeLimit
from servicing.due.models import DueSpan, StoredObligation
from servicing.hydrostatic.models import Consigned, Consignment, Result
from servicing.ledger.models import Record, Signature
from servicing.rules.models import Adoption, RuleProposal, RuleTable, RuleVersion

__all__ = [
    "Adoption",
    "Batch",
    "Consigned",
    "Consignment",
    "Draft",
    "DueSpan",
    "ProcedureVersion",
    "Record",
    "Result",
    "RuleProposal",
    "RuleTable",
    "RuleVersion",
    "Signature",
    "StoredObligation",
    "TypeLimit",
]
