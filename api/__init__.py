"""The HTTP interface and the page: what the house knows, for programs and for people."""
