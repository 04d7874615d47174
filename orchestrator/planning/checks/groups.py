"""Which multicast addresses are fit for audio.

RFC 5771 (section 3's table, and 4 to 10) and RFC 2365 (sections 6 and 9) say what each range is
for; RFC 1112 section 6.4 and RFC 4541 section 2.1.2 why some are flooded by switches.
"""

from ipaddress import IPv4Network

from orchestrator.planning.checks.common import quad

_OUTSIDE = (
    "is neither administratively scoped (239.0.0.0/8, RFC 5771 section 10) "
    "nor source-specific (232.0.0.0/8, section 8)"
)
_FLOODED = (
    "shares its Ethernet address with 224.0.0.x (RFC 1112 section 6.4), which switches send "
    "to every port (RFC 4541 section 2.1.2)"
)
_RELATIVE = "is in the highest /24 of its scope, kept for relative assignments (RFC 2365 section 9)"
_FIT = ("232.0.0.0/8", "239.0.0.0/8")
_UNFIT = {
    "232.0.0.0/24": _FLOODED,
    "232.128.0.0/24": _FLOODED,
    "239.0.0.0/24": _FLOODED,
    "239.128.0.0/24": _FLOODED,
    "239.195.255.0/24": _RELATIVE,
    "239.255.255.0/24": _RELATIVE,
}


def _ends(network: str) -> tuple[int, int]:
    net = IPv4Network(network)
    return int(net.network_address), int(net.broadcast_address)


_FIT_ENDS = tuple(_ends(network) for network in _FIT)
_UNFIT_ENDS = tuple((*_ends(network), why) for network, why in _UNFIT.items())


def unfit(first: int, last: int) -> str | None:
    """Why an address from ``first`` to ``last`` (as numbers) is unfit for audio; None: all are fit.

    The words name the lowest unfit address.
    """
    if not any(low <= first and last <= high for low, high in _FIT_ENDS):
        inside = [high + 1 for low, high in _FIT_ENDS if low <= first <= high]
        return f"{quad(inside[0] if inside else first)} {_OUTSIDE}"
    bad = [
        (max(first, low), why) for low, high, why in _UNFIT_ENDS if first <= high and low <= last
    ]
    if not bad:
        return None
    address, why = min(bad)
    return f"{quad(address)} {why}"
