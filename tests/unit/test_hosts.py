"""Names and addresses of this machine: found without the network, and checked as they are typed."""

import socket
from ipaddress import ip_address

import pytest

from audits.errors import InvalidInput
from webapp.hosts import Names, chosen_names, in_url, is_loopback, own_addresses

LAN = ip_address("192.168.1.20")


def choose(*names: str, ip: tuple[str, ...] = (), host_name: str = "farmbox") -> Names:
    return chosen_names(names, ip, host_name=host_name, own_addresses=[LAN])


def test_without_a_choice_the_machine_is_named_as_it_names_itself():
    assert choose() == Names(
        ("farmbox", "farmbox.local", "localhost"), (LAN, ip_address("127.0.0.1"))
    )


@pytest.mark.parametrize(
    ("host_name", "names"),
    [
        ("FarmBox.Alkali.example", ("farmbox.alkali.example", "farmbox.local", "localhost")),
        ("localhost", ("localhost",)),
        ("farm_box", ("localhost",)),
        ("", ("localhost",)),
    ],
)
def test_names_that_cannot_be_in_a_certificate_are_left_out(host_name, names):
    assert choose(host_name=host_name).dns == names


def test_what_is_chosen_takes_the_place_of_what_is_found():
    chosen = choose("Pages.Alkali.example.", ip=("10.0.0.7", "[fd00::7]"))
    assert chosen.dns == ("pages.alkali.example", "localhost")
    assert [str(address) for address in chosen.addresses] == ["10.0.0.7", "fd00::7", "127.0.0.1"]


@pytest.mark.parametrize(
    ("name", "sentence"),
    [
        ("192.168.1.20", "give it with --ip"),
        ("[fd00::7]", "give it with --ip"),
        ("https://farm.local", "leave out https://"),
        ("farm.local:8443", "leave out https://"),
        ("*.local", "no host name"),
        ("farm box.local", "no host name"),
        ("farm..local", "no host name"),
        ("-farm.local", "no host name"),
        ("huertañandú.local", "no host name"),
        ("x" * 64 + ".local", "no host name"),
        (".".join(["x" * 63] * 4), "no host name"),
        ("1.2.3", "no host name"),
        ("", "no host name"),
        # RFC 5280 4.2.1.10: a permitted name permits every name under it.
        ("com", "every name that ends in it"),
    ],
)
def test_a_name_that_will_not_do_is_quoted_with_a_reason(name, sentence):
    with pytest.raises(InvalidInput) as caught:
        choose("farm.local", name)
    message = str(caught.value.problems["--name"])
    assert sentence in message
    assert name in message


@pytest.mark.parametrize(
    "address",
    ["", "farm", "1.2.3", "1.2.3.400", "0.0.0.0", "::", "224.0.0.1", "fe80::1%eth0"],  # noqa: S104
)
def test_an_address_that_will_not_do_is_quoted(address):
    with pytest.raises(InvalidInput) as caught:
        choose(ip=("10.0.0.7", address))
    assert f'"{address}"' in str(caught.value.problems["--ip"])


def test_everything_wrong_is_said_at_once():
    with pytest.raises(InvalidInput) as caught:
        choose("com", ip=("farm",))
    assert set(caught.value.problems) == {"--name", "--ip"}


def test_a_machine_names_its_own_addresses_without_asking_anybody(monkeypatch):
    for name in ("getaddrinfo", "gethostbyname", "gethostbyname_ex", "getfqdn"):
        monkeypatch.setattr(socket, name, None)
    for address in own_addresses():
        assert not address.is_loopback
        with socket.socket() as listener:
            # The kernel lets nobody listen on the address of another machine.
            listener.bind((str(address), 0))


def test_where_interfaces_cannot_be_asked_the_way_out_tells_the_address(monkeypatch):
    monkeypatch.setattr(socket, "if_nameindex", list)
    for address in own_addresses():
        with socket.socket() as listener:
            listener.bind((str(address), 0))


def test_a_machine_without_a_network_has_no_address_to_name(monkeypatch):
    def unreachable(*_args: object) -> None:
        raise OSError(101, "Network is unreachable")

    monkeypatch.setattr(socket, "if_nameindex", list)
    monkeypatch.setattr(socket.socket, "connect", unreachable)
    assert own_addresses() == []


def test_another_machines_address_is_not_bound():
    """The check above can fail."""
    with socket.socket() as listener, pytest.raises(OSError, match="assign"):
        listener.bind(("198.51.100.7", 0))


@pytest.mark.parametrize(
    ("host", "is_covered"),
    [
        ("farm.local", True),
        ("FARM.local", True),
        ("192.168.1.20", True),
        ("[fd00::7]", True),
        ("fd00:0:0::7", True),
        ("pages.alkali.example", True),
        ("a.pages.alkali.example", False),
        ("alkali.example", False),
        ("192.168.1.21", False),
        ("evil.example", False),
        ("", False),
    ],
)
def test_a_certificate_is_good_for_the_hosts_it_names(host, is_covered):
    names = Names(("farm.local", "*.alkali.example"), (LAN, ip_address("fd00::7")))
    assert names.has(host) is is_covered


@pytest.mark.parametrize(
    ("names", "best"),
    [
        (Names(("farmbox", "farm.local"), (ip_address("127.0.0.1"), LAN)), "192.168.1.20"),
        (Names(("farmbox", "farm.local"), (ip_address("127.0.0.1"),)), "farm.local"),
        (Names(("*.alkali.example", "pages.example"), ()), "pages.example"),
        (Names((), ()), "localhost"),
    ],
)
def test_what_is_shown_to_others_leads_here_from_their_machines(names, best):
    assert names.best == best


@pytest.mark.parametrize(
    ("host", "is_here"),
    [("localhost", True), ("127.3.2.1", True), ("[::1]", True), ("a.localhost", True),
     ("192.168.1.20", False), ("localhost.example", False), ("", False)],
)  # fmt: skip
def test_this_very_machine_is_known(host, is_here):
    assert is_loopback(host) is is_here


def test_an_address_of_the_sixth_version_stands_in_brackets():
    assert [in_url("fd00::7"), in_url("[fd00::7]"), in_url("farm.local")] == [
        "[fd00::7]",
        "[fd00::7]",
        "farm.local",
    ]
