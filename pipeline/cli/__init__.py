"""The command line: one module per command; each parses, calls the library, shows, returns a status."""
