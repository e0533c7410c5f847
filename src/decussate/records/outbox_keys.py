"""With what a browser seals the entries that wait in it until they can be sent.

The key is the person's and stays with the server. A page of a person who is signed in holds it in
memory; signed out, the browser keeps only what nobody can read there.
"""

from __future__ import annotations

import base64
import secrets

from sqlalchemy import Connection, insert, select

from decussate.records.people import Person
from decussate.records.store import Store
from decussate.records.tables import outbox_keys

__all__ = ["outbox_key"]


def outbox_key(store: Store, person: Person) -> str:
    """Return the key of a person, made when it is first asked for.

    Parameters
    ----------
    store : Store
        Where it is kept.
    person : Person
        Whose it is.

    Returns
    -------
    str
        256 random bits, base64.
    """
    query = select(outbox_keys.c.key).where(outbox_keys.c.person == person.id)
    with store.database.reading() as connection:
        found = connection.scalar(query)
    if found is not None:
        return str(found)
    new = base64.b64encode(secrets.token_bytes(32)).decode()

    def job(connection: Connection) -> str:
        meanwhile = connection.scalar(query)  # another page may have been quicker
        if meanwhile is None:
            connection.execute(insert(outbox_keys), {"person": person.id, "key": new})
        return str(meanwhile or new)

    return store.write(job)
