"""The names and addresses under which this machine is reached, without asking the network."""

import re
import socket
import struct
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from ipaddress import IPv4Address, IPv6Address, ip_address
from typing import Final, TypeAlias

from audits.errors import InvalidInput
from audits.messages import Message, say

Address: TypeAlias = IPv4Address | IPv6Address

LOOPBACK_NAME: Final = "localhost"
LOOPBACK_ADDRESS: Final = IPv4Address("127.0.0.1")

# Letters, digits and inner hyphens, RFC 1123 2.1; lengths, RFC 1035 2.3.4.
_LABEL: Final = re.compile(r"[a-z0-9](?:[a-z0-9-]{0,61}[a-z0-9])?")
_LONGEST_NAME: Final = 253
# linux/sockios.h: asks the kernel for the address of one of its own interfaces.
_ADDRESS_OF_INTERFACE: Final = 0x8915
_LONGEST_INTERFACE: Final = 15
# RFC 5737 keeps it for documentation: a packet would lead nowhere, and none is sent.
_ELSEWHERE: Final = ("192.0.2.1", 9)


@dataclass(frozen=True)
class Names:
    """DNS names and addresses, in the order in which people should try them."""

    dns: tuple[str, ...]
    addresses: tuple[Address, ...]

    def has(self, host: str) -> bool:
        """Return whether a certificate for these names is good for a host of an address line."""
        bare = host.removeprefix("[").removesuffix("]").lower()
        try:
            return ip_address(bare) in self.addresses
        except ValueError:
            return any(_matches(name.lower(), bare) for name in self.dns)

    @property
    def best(self) -> str:
        """The host to write on paper: one that other machines can reach, if there is one."""
        outward: list[str] = [str(one) for one in self.addresses if not one.is_loopback]
        outward += [name for name in self.dns if "." in name and not name.startswith("*")]
        return next(iter([*outward, *self.dns, *map(str, self.addresses)]), LOOPBACK_NAME)

    def __str__(self) -> str:
        return ", ".join([*self.dns, *map(str, self.addresses)])


def in_url(host: str) -> str:
    """Return a host as addresses hold it, RFC 3986 3.2.2."""
    return f"[{host}]" if ":" in host and not host.startswith("[") else host


def is_loopback(host: str) -> bool:
    """Return whether a host of an address line is the very machine that asks."""
    bare = host.removeprefix("[").removesuffix("]").lower()
    try:
        return ip_address(bare).is_loopback
    except ValueError:
        return bare == LOOPBACK_NAME or bare.endswith(f".{LOOPBACK_NAME}")


def chosen_names(
    entered: Sequence[str],
    addresses: Sequence[str],
    *,
    host_name: str,
    own_addresses: Iterable[Address],
) -> Names:
    """
    Return what a certificate should be good for, this machine itself always among it.

    Raises
    ------
    InvalidInput
        With a sentence for ``--name`` or ``--ip`` that quotes the value at fault.
    """
    problems: dict[str, Message] = {}
    own_name = host_name.strip().rstrip(".").lower()
    names: list[str] = []
    for name in entered or _default_names(own_name):
        problem = name_problem(name, own_name)
        if problem is None:
            names.append(name.strip().rstrip(".").lower())
        elif entered:
            problems.setdefault("--name", problem)
    found: list[Address] = []
    for text in addresses:
        try:
            found.append(_usable_address(text))
        except ValueError:
            problems.setdefault("--ip", _address_problem(text))
    if problems:
        raise InvalidInput(problems)
    if not addresses:
        found = list(own_addresses)
    return Names(
        dns=tuple(dict.fromkeys([*names, LOOPBACK_NAME])),
        addresses=tuple(dict.fromkeys([*found, LOOPBACK_ADDRESS])),
    )


def name_problem(entered: str, own_name: str) -> Message | None:
    """Return what is wrong with a name, or None."""
    name = entered.strip().rstrip(".").lower()
    if _is_address(name.removeprefix("[").removesuffix("]")):
        return say('"%(name)s" is an address: give it with --ip.', name=entered)
    if "/" in name or ":" in name:
        return say('"%(name)s" is more than a host name: leave out https:// and :port.', name=name)
    labels = name.split(".")
    are_labels = all(_LABEL.fullmatch(label) for label in labels)
    if not are_labels or len(name) > _LONGEST_NAME or labels[-1].isdecimal():
        return say(
            '"%(name)s" is no host name: use letters without accents, digits, hyphens and dots, '
            "such as farm.local.",
            name=entered,
        )
    if len(labels) == 1 and name not in {own_name, LOOPBACK_NAME}:
        # The authority speaks for every name that ends in a permitted one: "com" would be too much.
        return say(
            '"%(name)s" has no dot and is not the name of this machine: every name that ends in '
            "it would be covered. Use one such as %(name)s.local.",
            name=name,
        )
    return None


def own_name() -> str:
    """Return this machine's name for itself."""
    return socket.gethostname()


def own_addresses() -> list[Address]:
    """
    Return the IPv4 addresses of this machine on its networks.

    IPv6 addresses are left to ``--ip``: most machines change theirs every day.
    """
    found = [address for address in _interface_addresses() if _is_outward(address)]
    if not found:
        found = [address for address in _route_address() if _is_outward(address)]
    return list(dict.fromkeys(found))


def _default_names(own_name: str) -> list[str]:
    label = own_name.partition(".")[0]
    return [own_name, f"{label}.local"] if label and label != LOOPBACK_NAME else []


def _usable_address(text: str) -> Address:
    address = ip_address(text.strip().removeprefix("[").removesuffix("]"))
    if address.is_unspecified or address.is_multicast or address.is_link_local:
        raise ValueError(text)
    return address


def _address_problem(text: str) -> Message:
    return say(
        '"%(address)s" is no address of a machine: write one such as 192.168.1.20.', address=text
    )


def _is_address(text: str) -> bool:
    try:
        ip_address(text)
    except ValueError:
        return False
    return True


def _is_outward(address: Address) -> bool:
    return not (address.is_loopback or address.is_link_local or address.is_unspecified)


def _interface_addresses() -> list[Address]:
    try:
        import fcntl  # noqa: PLC0415 - not on every system
    except ImportError:
        return []
    found: list[Address] = []
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asking:
        for _, name in socket.if_nameindex():
            request = struct.pack("256s", name.encode()[:_LONGEST_INTERFACE])
            try:
                answer = fcntl.ioctl(asking.fileno(), _ADDRESS_OF_INTERFACE, request)
            except OSError:
                # An interface without an address.
                continue
            found.append(IPv4Address(answer[20:24]))
    return found


def _route_address() -> list[Address]:
    """Return the address from which this machine would send: choosing it sends nothing."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asking:
        try:
            asking.connect(_ELSEWHERE)
        except OSError:
            return []
        return [IPv4Address(asking.getsockname()[0])]


def _matches(pattern: str, host: str) -> bool:
    """Return whether a name of a certificate is good for a host, RFC 6125 6.4.3."""
    if pattern.startswith("*."):
        label, dot, rest = host.partition(".")
        return bool(label and dot) and rest == pattern[2:]
    return pattern == host
