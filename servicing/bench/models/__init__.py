"""What the bench keeps: procedures and limits, guarded; drafts and batches, gone once signed."""

from servicing.bench.models.drafts import Batch, Draft
from servicing.bench.models.procedures import ProcedureVersion, TypeLimit

__all__ = ["Batch", "Draft", "ProcedureVersion", "TypeLimit"]
