"""RESTCONF servers: RFC 8040 and the standard modules for addresses."""
