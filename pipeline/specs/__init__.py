"""The facts of each standard, one home each: namespaces, versions, URIs, terms, with their source."""
