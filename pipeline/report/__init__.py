"""Reports for people: the quality page, and the tables that the docs print from the code."""
