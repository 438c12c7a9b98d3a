"""Taking a stock sheet: read, compared with the book, stored at one stroke."""

from inventory.services.stock_sheet.importing import import_stock
from inventory.services.stock_sheet.result import CountDifference, Opening, StockImport

__all__ = ["CountDifference", "Opening", "StockImport", "import_stock"]
