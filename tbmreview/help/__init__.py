"""Method notes: a page for each family of figures, its worked example computed when the page is built."""

from tbmreview.help.pages import PAGES, Page, page
from tbmreview.help.text import text_of
from tbmreview.help.topics import page_of_column, page_of_strip, page_of_topic

__all__ = ["PAGES", "Page", "page", "page_of_column", "page_of_strip", "page_of_topic", "text_of"]
