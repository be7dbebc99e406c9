"""What the laptop shows to let a device in: the code, its address as words and as a QR picture, who is in."""

import ipaddress
import socket
from typing import Any

from fastapi import Request

from tapehook.pages.sessions import Sessions


def own_addresses() -> list[str]:
    """The addresses of this machine in its own networks, private ones first; no packet is sent to find out."""
    found: list[str] = []
    for family, far in ((socket.AF_INET, "192.0.2.1"), (socket.AF_INET6, "2001:db8::1")):
        with socket.socket(family, socket.SOCK_DGRAM) as probe:
            try:
                probe.connect((far, 9))  # a datagram socket only chooses its own address by this
                found.append(str(probe.getsockname()[0]))
            except OSError:
                continue
    usable = [one for one in found if not ipaddress.ip_address(one).is_loopback]
    return sorted(usable, key=lambda one: (not ipaddress.ip_address(one).is_private, ":" in one))


def address_of(scheme: str, host: str, port: int) -> str:
    """The address a device opens."""
    return f"{scheme}://{f'[{host}]' if ':' in host else host}:{port}/pair"


def shown(request: Request, sessions: Sessions) -> dict[str, Any]:
    """What the page shows: the code and how long it holds, addresses, a QR picture, and the devices."""
    code = sessions.code()
    now = sessions.clock()
    port = request.app.state.port or request.url.port or 80
    addresses = [address_of(request.url.scheme, one, port) for one in own_addresses()]
    return {
        "code": code.digits if code else None,
        "code_right": code.right if code else None,
        "code_left_s": int(code.ends - now) if code else 0,
        "addresses": addresses,
        "qr": qr_picture(f"{addresses[0]}#{code.digits}") if code and addresses else None,
        "devices": [
            {"id": one.id, "who": one.who, "right": one.right, "minutes": int((now - one.seen) // 60)}
            for one in sessions.devices()
        ],
        "tls": request.url.scheme == "https",
    }


def qr_picture(text: str) -> str:
    """A QR picture as SVG, dark on light in both themes: the code stands behind #, which no server is ever sent."""
    import io

    import segno

    out = io.BytesIO()
    segno.make(text, error="m", micro=False).save(
        out, kind="svg", scale=5, border=4, dark="#000", light="#fff", xmldecl=False, svgns=True, omitsize=False
    )
    return out.getvalue().decode()
