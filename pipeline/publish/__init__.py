"""Publication: a verified bundle becomes an item of a site of plain files."""
