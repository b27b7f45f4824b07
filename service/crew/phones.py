"""How a crew's phone comes into use, and how it is stopped.

The office invites a phone: a code that works once and not for long. The phone scans it, makes a
key that never leaves it, and sends the public half. From then on every request that writes is
signed with that key. A revoked phone is refused at its next request; what it has not sent can
still be carried to the office as a file.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta
from hashlib import sha256
from secrets import choice, token_hex

from sqlmodel import Session, col, select

from labels.codes import ALPHABET
from service.installation import Installation
from service.log import reading
from service.log.append import greatest_clock, revoked_words
from service.log.signing import public_key
from service.storage.tables import InvitationRow
from shared import events as ev
from shared.records import Phone
from shared.vocabulary import Role

CODE_LENGTH = 16
"""80 bits: nobody guesses that in the minutes it lasts (ours, no source)."""

DEFAULT_MINUTES = 15
MOST_MINUTES = 24 * 60
_READ_AS = str.maketrans({"O": "0", "I": "1", "L": "1", " ": "", "-": ""})


class EnrolmentError(ValueError):
    """A phone can't be enrolled; the message says why and what to do."""


@dataclass(frozen=True)
class Invitation:
    """A code for one phone. Only here is it whole: what is stored is its digest."""

    code: str
    name: str
    expires_at: str

    @property
    def shown(self) -> str:
        """The code in groups, for typing."""
        return " ".join(self.code[at : at + 4] for at in range(0, len(self.code), 4))

    def address(self, base_url: str) -> str:
        """Where the phone opens it. What stands behind ``#`` is never sent to a server."""
        return f"{base_url.rstrip('/')}/crew/#enrol={self.code}"


@dataclass(frozen=True)
class PhoneLine:
    """A phone as the office sees it."""

    phone: Phone
    stored: int
    heard_at: str | None


def _digest(code: str) -> str:
    return sha256(code.upper().translate(_READ_AS).encode()).hexdigest()


def invite(here: Installation, *, name: str, holder: str, minutes: int, actor: str) -> Invitation:
    """Make a code for one phone, to be called ``name``, that lasts ``minutes``."""
    code = "".join(choice(ALPHABET) for _ in range(CODE_LENGTH))
    now = here.now()
    made = Invitation(code, name, ev.utc_text(now + timedelta(minutes=minutes)))
    with here.database.write() as session:
        session.add(
            InvitationRow(
                digest=_digest(code),
                name=name,
                holder=holder,
                made_by=actor,
                made_at=ev.utc_text(now),
                expires_at=made.expires_at,
            )
        )
    return made


def enrol(here: Installation, code: str, key: ev.PhoneKey) -> tuple[Phone, int]:
    """Take a phone's key against a code; the phone, and the clock to start from.

    A phone whose answer was lost on the way asks again with the same key and gets the same
    answer. Raises ``EnrolmentError``.
    """
    try:
        public_key(key)
    except ValueError as error:
        raise EnrolmentError("key: this is no point on the curve P-256; make a new key") from error
    with here.database.write() as session:
        row = session.get(InvitationRow, _digest(code))
        if row is None:
            raise EnrolmentError(
                "this code is not known here; compare each character, or ask the office for a "
                "new one"
            )
        if row.phone is None:
            if here.now() >= datetime.fromisoformat(row.expires_at):
                raise EnrolmentError("this code has run out; ask the office for a new one")
            row.phone = f"phone-{token_hex(6)}"
            row.used_at = ev.utc_text(here.now())
            body = ev.PhoneEnrolled(phone=row.phone, name=row.name, holder=row.holder, key=key)
            here.log.say_in(session, [body], actor=row.made_by, role=Role.OFFICE)
        phone = reading.phone(session, row.phone)
        if phone is None or phone.key != key:
            raise EnrolmentError(
                "this code was used already, and it works once; ask the office for a new one"
            )
        if phone.revoked_at is not None:
            raise EnrolmentError(revoked_words(phone))
        return phone, greatest_clock(session)


def revoke(here: Installation, device: str, *, reason: str, actor: str) -> None:
    """Stop a phone, from its next request on. A phone stopped before stays as it was."""
    with here.database.write() as session:
        phone = reading.phone(session, device)
        if phone is not None and phone.revoked_at is None:
            body = ev.PhoneRevoked(phone=device, reason=reason)
            here.log.say_in(session, [body], actor=actor, role=Role.OFFICE)


def phone_lines(session: Session) -> list[PhoneLine]:
    """Every phone, those in use first, by name."""
    stored, heard = reading.events_stored(session), reading.last_heard(session)
    lines = [
        PhoneLine(phone, stored.get(phone.phone, 0), heard.get(phone.phone))
        for phone in reading.phones(session)
    ]
    return sorted(lines, key=lambda one: (one.phone.revoked_at is not None, one.phone.name))


def open_invitations(session: Session, now: str) -> list[InvitationRow]:
    """Codes that no phone has used yet and that still work."""
    return list(
        session.exec(
            select(InvitationRow)
            .where(col(InvitationRow.phone).is_(None), InvitationRow.expires_at > now)
            .order_by(InvitationRow.expires_at)
        )
    )
