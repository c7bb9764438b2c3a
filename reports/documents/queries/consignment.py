"""What a test house is told of the cylinders that are sent to it."""

from reports.documents.pure.consignment import ConsignmentList
from reports.documents.pure.printing import Printing
from reports.documents.queries.numbering import paper_number
from servicing.away.models import Consignment
from servicing.hydrostatic.pure.marks import CAUTION
from servicing.hydrostatic.queries import limits, listed


def consignment_list(consignment: Consignment, printing: Printing) -> ConsignmentList:
    """Return what a test house is told of the cylinders of a consignment."""
    rows = listed(consignment)
    content = [consignment.number, *(row.tag for row in rows)]
    return ConsignmentList(
        number=paper_number("CL", printing.on, printing.at, content),
        consignment=consignment.number,
        house=consignment.house,
        from_site=consignment.from_site.name,
        sent_on=consignment.sent_on,
        printed_at=printing.at,
        printed_by=printing.by,
        replaces=printing.replaces,
        cautions=(limits().caution, CAUTION),
        rows=tuple(rows),
    )
