"""Where the codes on paper lead: to a block's page on the farm's own address."""

from flask import g, request

from webapp.hosts import is_loopback


def asked_address() -> str:
    """Return the farm's address as the browser that prints sees it, or as the command names it."""
    return str(g.get("paper_address", request.host_url))


def block_address(address: str, block_id: int, card: int | None = None) -> str:
    """
    Return the address of a block's page, empty without an address.

    With the number of a card's batch the page says whether a newer card is out.
    """
    if not address:
        return ""
    page = f"{address.rstrip('/')}/blocks/{block_id}"
    return page if card is None else f"{page}?card={card}"


def leads_nowhere() -> str | None:
    """Return the name under which the pages were opened, if no other machine knows it."""
    host = request.host.rsplit(":", 1)[0].strip("[]")
    return host if is_loopback(host) else None
