"""Simulated devices: three invented makes, a world that they stand in, and three ways to reach it.

Nothing here comes from the package that is tested with it, so that no shared mistake can hide. The
parts, from the inside out::

    state, messages           frozen values
    device: corvid, tamarisk, marram    handle(request) -> response, pure
    load, site, world         the devices where they stand, edited like a world; faults
    in_memory, under_respx, server    three mounts of the same devices
    referee, verdict          watches every change and says which safety rule was broken, and when
"""
