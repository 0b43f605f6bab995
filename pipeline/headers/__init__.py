"""Technical facts of a master from its header, one module per file format.

`read_header` looks at the first bytes, not at the file's name.
"""

from pipeline.headers.master import Header, is_image, read_header, read_header_of

__all__ = ["Header", "is_image", "read_header", "read_header_of"]
