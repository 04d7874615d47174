"""A simulated RESTCONF server: RFC 8040 and the standard modules."""
