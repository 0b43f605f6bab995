"""An item as one PDF, its access images embedded as they are; the door to pikepdf.

A `Book` holds all that goes in, as values and paths; `write_pdf` writes it. Reading manifests is the
caller's.
"""

from pipeline.pdf.book import Book, Field, Page, Section, Wording
from pipeline.pdf.writing import write_pdf

__all__ = ["Book", "Field", "Page", "Section", "Wording", "write_pdf"]
