"""NMOS nodes: AMWA IS-04, IS-05 and IS-14."""
