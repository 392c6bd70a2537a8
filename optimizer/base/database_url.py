"""Addresses of databases: checked, and shown without their passwords."""

from urllib.parse import parse_qs, unquote, urlsplit

_SCHEMES = ("postgresql", "postgres")


def check_address(address: str) -> None:
    """Raise a ValueError unless this is the address of a PostgreSQL database.

    The message does not repeat the address, which may hold a password.
    """
    try:
        parts = urlsplit(address)
        port = parts.port
    except ValueError:
        parts, port = urlsplit(""), None
    if parts.scheme not in _SCHEMES or not parts.path.strip("/") or port == 0:
        raise ValueError(
            "must be the address of a PostgreSQL database; write it as"
            " postgresql://user@host:5432/database"
        )


def passwords(address: str) -> tuple[str, ...]:
    """Return the passwords in an address, as written and as meant."""
    parts = urlsplit(address)
    found = [parts.password or "", *parse_qs(parts.query).get("password", [])]
    return tuple(dict.fromkeys(text for raw in found if raw for text in (raw, unquote(raw))))


def shown_address(address: str) -> str:
    """Return an address without its password and options, for messages."""
    parts = urlsplit(address)
    user = f"{parts.username}@" if parts.username else ""
    port = f":{parts.port}" if parts.port else ""
    return f"postgresql://{user}{parts.hostname or ''}{port}{parts.path}"


def without_passwords(text: str, address: str) -> str:
    """Return a text in which no password of the address is left."""
    for password in passwords(address):
        text = text.replace(password, "***")
    return text
