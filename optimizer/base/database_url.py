"""Addresses of databases: checked, and shown without their passwords.

Only what has one reading is taken for an address: a password with an unwritten @ or / in it would
be cut at another place here than by the database's own library, whose messages then show a part.
"""

import re
from urllib.parse import unquote

_ADDRESS = re.compile(
    r"postgres(?:ql)?://"
    r"(?:(?P<user>[^\s@/:?#\[\]]*)(?::(?P<password>[^\s@/:?#\[\]]*))?@)?"
    r"(?P<hosts>(?:HOST(?:,HOST)*)?)"
    r"/(?P<database>[^\s@/?#:]+)"
    r"(?:\?(?P<query>[a-zA-Z_]+=[^\s@#&=]*(?:&[a-zA-Z_]+=[^\s@#&=]*)*))?".replace(
        "HOST", r"(?:\[[0-9a-fA-F:.%]+\]|[^\s@/:?#\[\],]*)(?::[1-9][0-9]{0,4})?"
    )
)
_BAD_ESCAPE = re.compile(r"%(?![0-9a-fA-F]{2})|%00")
_SECRET = re.compile("password|secret|token", re.IGNORECASE)  # in the name of an option

# In a text of any kind: what stands between a user's name and the host, or after password=.
_IN_ADDRESS = re.compile(r"(\w://[^\s:@/]*:).*@")
_IN_OPTION = re.compile(r"((?:password|secret|token)\s*=\s*)('(?:[^'\\]|\\.)*'|(?:\\.|\S)+)", re.I)


def check_address(address: str) -> None:
    """Raise a ValueError unless this is the address of a PostgreSQL database.

    The message does not repeat the address, which may hold a password.
    """
    if _BAD_ESCAPE.search(address) or not _ADDRESS.fullmatch(address):
        raise ValueError(
            "must be the address of a PostgreSQL database; write it as"
            " postgresql://user@host:5432/database, without a password or with the signs"
            " @ : / ? # & = % in it as %40 %3A %2F %3F %23 %26 %3D %25"
        )


def passwords(address: str) -> tuple[str, ...]:
    """Return the passwords in an address, as written and as meant.

    Those of the user, of the key of a certificate, and of other options that hold a secret.
    """
    found = _ADDRESS.fullmatch(address)
    if found is None:
        return ()
    raw = [found["password"] or "", *(value for key, value in _options(found) if _is_secret(key))]
    both = (text for written in raw if written for text in (written, unquote(written)))
    return tuple(dict.fromkeys(both))


def shown_address(address: str) -> str:
    """Return an address without its passwords, for messages."""
    found = _ADDRESS.fullmatch(address)
    if found is None:
        return "database"
    user = f"{found['user']}@" if found["user"] else ""
    options = "&".join(f"{key}={value}" for key, value in _options(found) if not _is_secret(key))
    query = f"?{options}" if options else ""
    return f"postgresql://{user}{found['hosts']}/{found['database']}{query}"


def without_passwords(text: str, address: str) -> str:
    """Return a text in which no password of the address is left."""
    for password in sorted(passwords(address), key=len, reverse=True):
        text = text.replace(password, "***")
    return masked(text)


def masked(text: str) -> str:
    """Return a text without what looks like a password, of whatever address or option."""
    # Options first: a password there may hold the @ that ends one before a host.
    return _IN_ADDRESS.sub(r"\1***@", _IN_OPTION.sub(r"\1***", text))


def _options(found: re.Match[str]) -> list[tuple[str, str]]:
    """Return names and values after the question mark, as written."""
    parts = (found["query"] or "").split("&")
    return [(part.partition("=")[0], part.partition("=")[2]) for part in parts if part]


def _is_secret(key: str) -> bool:
    return _SECRET.search(key) is not None
