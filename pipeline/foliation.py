"""What a folio or page label says: zone, number, suffix and side."""
