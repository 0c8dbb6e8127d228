"""Papers: a finished record in, the bytes of a PDF out, or its rows for a CSV sheet."""
