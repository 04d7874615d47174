"""A simulated NMOS node and registry: AMWA IS-04, IS-05 and IS-14."""
