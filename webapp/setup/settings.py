"""What the set-up page knows: nothing of the farm but its name, and no key."""

from collections.abc import Sequence
from dataclasses import dataclass
from ipaddress import ip_address

from cryptography import x509
from cryptography.hazmat.primitives.serialization import Encoding

from webapp.certificates import Certificates
from webapp.hosts import Names, is_loopback


@dataclass(frozen=True)
class SetupSettings:
    """
    What the set-up page needs to know before it starts; handed on as JSON.

    Parameters
    ----------
    farm_name : str
        Name of the farm.
    language : str
        Language for visitors whose browser asks for none of the page's.
    dns, addresses : sequence of str
        Names and addresses for which the certificate of the pages is good.
    https_port, http_port : int
        Port of the pages, and of the set-up page itself.
    only_here : bool
        Whether both listen to this machine alone.
    authority : str or None
        Certificate of the farm's authority in PEM form; none where phones need to install nothing.
    """

    farm_name: str
    language: str
    dns: Sequence[str]
    addresses: Sequence[str]
    https_port: int
    http_port: int
    only_here: bool
    authority: str | None

    @property
    def names(self) -> Names:
        """Names and addresses under which the pages are trusted."""
        return Names(tuple(self.dns), tuple(ip_address(text) for text in self.addresses))

    @property
    def certificate(self) -> x509.Certificate | None:
        """The authority's certificate."""
        if self.authority is None:
            return None
        return x509.load_pem_x509_certificate(self.authority.encode("ascii"))


def setup_settings(
    certificates: Certificates,
    *,
    farm_name: str,
    language: str,
    host: str,
    https_port: int,
    http_port: int,
) -> SetupSettings:
    """Return the settings of the set-up page beside pages with these certificates."""
    authority = certificates.authority
    return SetupSettings(
        farm_name=farm_name,
        language=language,
        dns=certificates.names.dns,
        addresses=[str(address) for address in certificates.names.addresses],
        https_port=https_port,
        http_port=http_port,
        only_here=is_loopback(host),
        authority=authority.public_bytes(Encoding.PEM).decode("ascii") if authority else None,
    )
