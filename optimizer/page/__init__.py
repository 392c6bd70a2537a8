"""One self-contained page of a study: choose a candidate, see why, and hand it over."""

from optimizer.page.document import PAGE_NAME, page_data, page_document, write_page
from optimizer.page.live import HOST, LiveStudy, serve

__all__ = ["HOST", "PAGE_NAME", "LiveStudy", "page_data", "page_document", "serve", "write_page"]
