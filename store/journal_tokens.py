"""The part of the journal that says who may come in: tokens, and the browsers that are signed in by them."""

from __future__ import annotations

import hashlib
import hmac
import secrets

from sqlalchemy import delete, select

from farm.roles import Role
from store.access_entries import Standing, Token
from store.access_tables import SessionRow, TokenRow
from store.journal_database import JournalDatabase

PREFIX = "lw"  # so that a token is known for one where it should not be
SECRET_BYTES = 32  # 256 bits of chance
SESSIONS_KEPT = 20  # of one token: browsers beyond that are signed out, the oldest first; our choice, no source

# Slow hashes protect passwords, which people choose and others can guess. Nobody guesses 256 bits of chance, at any
# speed, so one round of SHA-256 keeps the secret: whoever reads the journal cannot come in with what stands there.
_NOBODYS = hashlib.sha256(secrets.token_bytes(SECRET_BYTES)).hexdigest()


class JournalTokens:
    """Tokens and sessions by farm. Every method may raise `store.contract.StoreUnavailable`."""

    def __init__(self, database: JournalDatabase) -> None:
        self._database = database

    def make(
        self, farm: str, label: str, role: Role, now_us: int, made_by: str, expires_us: int | None = None
    ) -> tuple[Token, str]:
        """Write a new token and return it with its text, which is kept nowhere."""
        identity, secret = secrets.token_hex(5), secrets.token_urlsafe(SECRET_BYTES)
        row = TokenRow(
            farm=farm, identity=identity, secret_sha256=_hashed(secret), label=label, role=str(role), made_us=now_us,
            made_by=made_by, expires_us=expires_us, revoked_us=None, revoked_by="",
        )  # fmt: skip
        token = row.entry()
        with self._database.writing() as session:
            session.add(row)
        return token, f"{PREFIX}_{identity}_{secret}"

    def all(self, farm: str) -> list[Token]:
        """Return every token, expired and revoked ones too, the oldest first."""
        query = select(TokenRow).where(TokenRow.farm == farm).order_by(TokenRow.made_us, TokenRow.identity)
        with self._database.reading() as session:
            return [row.entry() for row in session.scalars(query)]

    def of(self, farm: str, text: str) -> Token | None:
        """Return the token of a text, expired and revoked ones too; None where it is none of this farm."""
        prefix, _, rest = text.partition("_")
        identity, _, secret = rest.partition("_")
        with self._database.reading() as session:
            row = session.get(TokenRow, (farm, identity)) if prefix == PREFIX else None
            kept = _NOBODYS if row is None else row.secret_sha256  # compared in any case: it takes the same time
            same = hmac.compare_digest(kept, _hashed(secret))
            return row.entry() if row is not None and same else None

    def revoke(self, farm: str, identity: str, now_us: int, by: str) -> Token | None:
        """Make a token let nobody in any more, at once, and return it; None where there is none.

        Browsers that it signed in are signed out. One that is revoked already stays as it was.
        """
        with self._database.writing() as session:
            row = session.get(TokenRow, (farm, identity))
            if row is None:
                return None
            if row.revoked_us is None:
                row.revoked_us, row.revoked_by = now_us, by
            session.execute(delete(SessionRow).where(SessionRow.farm == farm, SessionRow.token == identity))
            return row.entry()

    def sign_in(self, token: Token, now_us: int, expires_us: int) -> str:
        """Begin a session of a token and return what its cookie holds, which is kept nowhere."""
        cookie = secrets.token_urlsafe(SECRET_BYTES)
        ours = (SessionRow.farm == token.farm) & (SessionRow.token == token.identity)
        newest = select(SessionRow.cookie_sha256).where(ours).order_by(SessionRow.began_us.desc())
        with self._database.writing() as session:
            session.execute(delete(SessionRow).where(SessionRow.farm == token.farm, SessionRow.expires_us <= now_us))
            kept = session.scalars(newest.limit(SESSIONS_KEPT - 1)).all()
            session.execute(delete(SessionRow).where(ours, SessionRow.cookie_sha256.not_in(kept)))
            session.add(
                SessionRow(
                    cookie_sha256=_hashed(cookie), farm=token.farm, token=token.identity, began_us=now_us,
                    expires_us=expires_us,
                )
            )  # fmt: skip
        return cookie

    def signed_in(self, farm: str, cookie: str, now_us: int) -> tuple[Token, int] | None:
        """Return the token of a session that lasts, and the session's end; None where nobody is signed in."""
        with self._database.reading() as session:
            row = session.get(SessionRow, _hashed(cookie))
            if row is None or row.farm != farm or now_us >= row.expires_us:
                return None
            token = session.get(TokenRow, (farm, row.token))
            if token is None or token.entry().standing(now_us) is not Standing.USABLE:
                return None
            return token.entry(), row.expires_us

    def sign_out(self, cookie: str) -> None:
        """End a session; one that is over, or none, is left so."""
        with self._database.writing() as session:
            session.execute(delete(SessionRow).where(SessionRow.cookie_sha256 == _hashed(cookie)))


def _hashed(secret: str) -> str:
    return hashlib.sha256(secret.encode("utf-8", "replace")).hexdigest()
