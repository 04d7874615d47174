"""The device-adapter layer: what is said to a device, and how it gets there.

::

    messages     requests and responses as frozen values
    dialect      what every dialect gives: generators of requests that receive responses
    declared     the dialect of a device description: REST without code
      json_pointer, values, entries, states, template, wishes    its parts, all pure
    answers      which error an answer is, and the device's own words
    faults       which error a failure on the way is
    transport    one request over httpx, bounded in time and size
    retries      reads are repeated, writes never
    rest_device  joins a dialect, the way to the device, and the patience
    way, ways    a way to speak to a device as a value, and the table of all of them
    shares, mixed   a device that speaks several ways: which does what, and all as one
    open, probe  the way to a device of the plan

A secret never reaches a log, an error or a trace: see ``redact``.
"""
