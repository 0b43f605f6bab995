"""The format of long-term storage, OCFL 1.1: read and written by deposit and audit alike."""
