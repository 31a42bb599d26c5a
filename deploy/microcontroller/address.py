"""The parts of an address in settings.json."""


def parsed(address, ports):
    """(host, port, whether TLS). `ports`: by scheme, which ends with an s where it is TLS. Raises ValueError."""
    scheme, _, rest = address.partition("://")
    host, _, port = rest.rstrip("/").partition(":")
    if scheme not in ports or not host or "/" in rest.rstrip("/"):
        raise ValueError("expected an address such as %s://192.168.1.20, got %r" % (sorted(ports)[0], address))
    return host, int(port) if port else ports[scheme], scheme[-1] == "s"
