"""One self-contained page of a study: choose a candidate, see why, and hand it over."""

from optimizer.reports.page.document import page_data, page_document, write_page
from optimizer.reports.page.live import HOST, LiveStudy, serve

__all__ = ["HOST", "LiveStudy", "page_data", "page_document", "serve", "write_page"]
