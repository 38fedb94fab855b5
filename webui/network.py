"""How another device reaches this machine: its address in the network, and addresses as QR codes."""

from __future__ import annotations

import socket

from recon.errors import ReconError

# An address that is for documentation alone (RFC 5737): nothing is sent there, the system only says by
# which interface it would be.
_ELSEWHERE = ("192.0.2.1", 9)
EVERY_INTERFACE = ("0.0.0.0", "::")
_QUIET = 4  # modules of light margin round a code (ISO/IEC 18004)


def network_address() -> str:
    """This machine's address in the network that it is in.

    Raises
    ------
    ReconError
        Where it is in none.
    """
    try:
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
            probe.connect(_ELSEWHERE)
            address: str = probe.getsockname()[0]
    except OSError:
        address = "127.0.0.1"
    if address.startswith("127.") or address == "0.0.0.0":
        raise ReconError(
            "This machine is in no network that a phone could be in: connect both to the same one, or name "
            "this machine's address with --host."
        )
    return address


def reachable_host(host: str) -> str:
    """The host that stands in addresses for other devices: of a page that answers on every interface the
    machine's own.

    Examples
    --------
    >>> reachable_host("192.168.1.20")
    '192.168.1.20'
    """
    return network_address() if host in EVERY_INTERFACE else host


def qr_rows(text: str) -> list[str]:
    """A QR code as rows of '1' (dark) and '0', without its margin.

    Examples
    --------
    >>> rows = qr_rows("http://192.168.1.20:8174/enter?key=x")
    >>> len(rows) == len(rows[0]), rows[0][:8]
    (True, '11111110')
    """
    from reportlab.graphics.barcode.qrencoder import QRCode, QRErrorCorrectLevel

    code = QRCode(None, QRErrorCorrectLevel.M)
    code.addData(text)
    code.make()
    size = range(code.getModuleCount())
    return ["".join("1" if code.isDark(row, column) else "0" for column in size) for row in size]


def qr_text(text: str) -> str:
    """A QR code for a dark or light terminal: two rows of it to a line, in half blocks."""
    rows = qr_rows(text)
    wide = len(rows) + 2 * _QUIET
    light = "0" * wide
    padded = [light] * _QUIET + [f"{'0' * _QUIET}{row}{'0' * _QUIET}" for row in rows] + [light] * _QUIET
    if len(padded) % 2:
        padded.append(light)
    block = {"00": "\u2588", "01": "\u2580", "10": "\u2584", "11": " "}  # light is drawn, dark is left
    pairs = zip(padded[::2], padded[1::2])
    return "\n".join("".join(block[a + b] for a, b in zip(upper, lower)) for upper, lower in pairs)
