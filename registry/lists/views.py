"""Lists that are downloaded."""

from collections.abc import Iterable, Sequence

from django.http import StreamingHttpResponse

from registry.lists.pure.leaving import csv_pieces


def csv_download(
    name: str, columns: Sequence[str], rows: Iterable[Iterable[object]]
) -> StreamingHttpResponse:
    """Answer with a list as a CSV file of this name, as it is read from the database."""
    return StreamingHttpResponse(
        csv_pieces(columns, rows),
        content_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": f'attachment; filename="{name}"'},
    )
