"""The documents that describe an item: IIIF manifest and collection, METS with MIX and PREMIS, MODS."""
